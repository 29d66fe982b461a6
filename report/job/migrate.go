package job

import "fmt"

// migrate makes the parts of an older record those of this version; on disk it
// stays as it is until something is added. Version 1 knew no advice with an
// adjustment and no pictures for the report, version 2 no ruler and no positions of
// the wheels, and the pictures of version 3 held their words; they were otherwise the same.
func (p parts) migrate() { p.values["schema"] = fmt.Appendf(nil, "%q", Schema) }
