package job

import "fmt"

// migrate brings the parts of an older record to this version, one version at a
// time. On disk it stays as it is until something is added.
func (p parts) migrate(version int) {
	for v := version; v < schemaVersion; v++ {
		migrations()[v-1](p)
	}
	p.values["schema"] = fmt.Appendf(nil, "%q", Schema)
}

// migrations lead from version 1 to 2, from 2 to 3 and so on.
func migrations() []func(parts) { return nil }
