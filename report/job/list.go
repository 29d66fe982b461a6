package job

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"
)

// Listed is one job of a store: a folder whose folders are jobs.
type Listed struct {
	Dir    string // within the store
	Job    *Job   // nil when it cannot be read
	Damage []Damage
	Err    error
}

// List reads the records of a store, latest first; folders without one are no jobs.
// Other files than the records are not looked at.
func List(store string) ([]Listed, error) {
	entries, err := os.ReadDir(store)
	if err != nil {
		return nil, err
	}
	all := make([]*Listed, len(entries))
	var group errgroup.Group
	group.SetLimit(2 * runtime.NumCPU()) // some wait for the disk
	for i, entry := range entries {
		if !entry.IsDir() || strings.HasPrefix(entry.Name(), ".") {
			continue
		}
		group.Go(func() error {
			all[i] = listed(store, entry.Name())
			return nil
		})
	}
	_ = group.Wait() // each job has its own error
	var jobs []Listed
	for _, l := range all {
		if l != nil {
			jobs = append(jobs, *l)
		}
	}
	slices.SortStableFunc(jobs, func(a, b Listed) int { return b.latest().Compare(a.latest()) })
	return jobs, nil
}

func listed(store, name string) *Listed {
	dir := filepath.Join(store, name)
	j, damage, err := Read(dir)
	if errors.Is(err, ErrNoJob) {
		return nil
	}
	return &Listed{Dir: name, Job: j, Damage: damage, Err: err}
}

// latest is when something was last added; a job that cannot be read comes first.
func (l Listed) latest() time.Time {
	if l.Job == nil {
		return time.Unix(1<<40, 0)
	}
	return l.Job.Latest()
}
