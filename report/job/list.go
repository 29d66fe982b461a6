package job

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"rimpair/measure"
)

// Listed is one job of a store: a folder whose folders are jobs.
type Listed struct {
	Dir string // within the store
	Summary
	Damage []Damage // of the record
	Err    error    // it cannot be read at all
}

// Summary is what a list shows of a job.
type Summary struct {
	Latest                       time.Time // when something was last added
	Customer, Reference, Vehicle string
	Failed                       int   // checks that are not in order
	Stage                        Stage // of the last measurement; empty when there is none
	TotalToeMm                   measure.Quantity
}

// List sums up the records of a store, latest first and the unreadable before
// them; folders without a record are no jobs. Other files are not looked at.
func List(store string) ([]Listed, error) {
	entries, err := os.ReadDir(store)
	if err != nil {
		return nil, err
	}
	all := make([]*Listed, len(entries))
	var next atomic.Int64
	var group sync.WaitGroup
	for range 2 * runtime.NumCPU() { // some wait for the disk
		group.Go(func() {
			var content []byte // of one record after the other
			for i := int(next.Add(1)) - 1; i < len(entries); i = int(next.Add(1)) - 1 {
				if entries[i].IsDir() && !strings.HasPrefix(entries[i].Name(), ".") {
					all[i], content = listed(store, entries[i].Name(), content)
				}
			}
		})
	}
	group.Wait()
	var jobs []Listed
	for _, l := range all {
		if l != nil {
			jobs = append(jobs, *l)
		}
	}
	slices.SortStableFunc(jobs, func(a, b Listed) int {
		if (a.Err == nil) != (b.Err == nil) {
			return map[bool]int{true: 1, false: -1}[a.Err == nil]
		}
		return b.Latest.Compare(a.Latest)
	})
	return jobs, nil
}

// listed sums up one job, or none, and returns the memory that its record was read into.
func listed(store, name string, memory []byte) (*Listed, []byte) {
	l := &Listed{Dir: name}
	content, err := readRecord(filepath.Join(store, name), memory)
	if errors.Is(err, os.ErrNotExist) {
		return nil, memory
	}
	if l.Err = err; err != nil {
		return l, memory
	}
	j, ok := skim(content)
	if !ok {
		// What is found damaged keeps parts of the content.
		if j, l.Damage, l.Err = decode(slices.Clone(content)); l.Err != nil {
			return l, content
		}
	}
	l.Summary = j.summary()
	return l, content
}

func (j *Job) summary() Summary {
	s := Summary{Latest: j.Latest(), Customer: j.Customer, Reference: j.Reference, Vehicle: j.Vehicle.Name, Failed: len(j.FailedChecks())}
	if m := j.LastMeasurement(); m != nil {
		s.Stage, s.TotalToeMm = m.Stage, m.TotalToeMm
	}
	return s
}

// skimmed is the part of a record that a summary needs. To skip the rest takes half
// the time of reading it.
type skimmed struct {
	Schema    string    `json:"schema"`
	Created   time.Time `json:"created"`
	Customer  string    `json:"customer"`
	Reference string    `json:"reference"`
	Vehicle   struct {
		Name string `json:"name"`
	} `json:"vehicle"`
	Entries []struct {
		At          string `json:"at"`
		Check       *Check `json:"check"`
		Measurement *struct {
			Stage      Stage            `json:"stage"`
			TotalToeMm measure.Quantity `json:"total_toe_mm"`
		} `json:"measurement"`
	} `json:"entries"`
}

// skim reads that part of a whole record of this version. It is not validated.
func skim(content []byte) (*Job, bool) {
	var s skimmed
	if err := jsonv2.Unmarshal(content, &s, jsontext.AllowDuplicateNames(true)); err != nil || s.Schema != Schema {
		return nil, false
	}
	j := &Job{Created: s.Created, Customer: s.Customer, Reference: s.Reference, Vehicle: Vehicle{Name: s.Vehicle.Name}, Entries: make([]Entry, len(s.Entries))}
	for i, e := range s.Entries {
		j.Entries[i].Check = e.Check
		if m := e.Measurement; m != nil {
			j.Entries[i].Measurement = &Measurement{Stage: m.Stage, TotalToeMm: m.TotalToeMm}
		}
	}
	if n := len(s.Entries); n > 0 {
		at, err := time.Parse(time.RFC3339, s.Entries[n-1].At)
		if err != nil {
			return nil, false
		}
		j.Entries[n-1].At = at
	}
	return j, true
}
