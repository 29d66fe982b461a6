package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report/job"
)

const (
	storeJobs  = 5000
	listLimitS = 0.5
	listRuns   = 3
)

// jobsTable lists a store of whole jobs, and merely reads the same files.
func (b *bench) jobsTable() error {
	b.title("A store of %d jobs", storeJobs)
	store := filepath.Join(b.dir, "store")
	bytes, err := writeStore(store)
	if err != nil {
		return err
	}
	var list, read cost
	for range listRuns {
		c, err := timed(b.rimpair, "job", "list", store)
		if err != nil {
			return err
		}
		list = list.best(c)
		if c, err = readStore(store); err != nil {
			return err
		}
		read = read.best(c)
	}
	b.printf("%-40s %8s %10s\n", "", "wall s", "peak MiB")
	b.printf("%-40s %8.3f %10.0f\n", "rimpair job list, the whole process", list.wall.Seconds(), list.peakMiB)
	b.printf("%-40s %8.3f %10s\n", fmt.Sprintf("reading %.0f MB in %d files, one by one", float64(bytes)/1e6, storeJobs), read.wall.Seconds(), "-")
	b.printf("listing takes %.1f times as long as reading\n", list.wall.Seconds()/read.wall.Seconds())
	b.limits(fmt.Sprintf("%g s", listLimitS))
	return b.reportTable()
}

const (
	reportLimitS, reportLimitMB = 2, 5
	reportStages                = 4
	keptSets                    = 10
)

// reportTable writes the report of a job of four stages with three photos each, and
// again with so many sets of photos more that were kept unmeasured.
func (b *bench) reportTable() error {
	s, err := b.measurable()
	if err != nil {
		return err
	}
	dir := filepath.Join(b.dir, "job")
	if _, err := timed(b.rimpair, "job", "new", dir, "--rim", s.rim()); err != nil {
		return err
	}
	var measured, added cost
	for _, stage := range job.Stages()[:reportStages] {
		c, err := timed(b.rimpair, append([]string{"measure", "--rim", s.rim()}, s.photos...)...)
		if err != nil {
			return err
		}
		measured = measured.best(c)
		if c, err = timed(b.rimpair, append([]string{"job", "add", dir, "--stage", string(stage)}, s.photos...)...); err != nil {
			return err
		}
		added = added.best(c)
	}
	if err := b.reportRows(dir, reportStages*len(s.photos)); err != nil {
		return err
	}
	b.printf("%-40s %8.2f\n", "rimpair measure, three photos", measured.wall.Seconds())
	b.printf("%-40s %8.2f (drawing and keeping them: %.2f s)\n", "rimpair job add, the same photos", added.wall.Seconds(), (added.wall - measured.wall).Seconds())
	b.limits(fmt.Sprintf("%d s after measuring, %d MB", reportLimitS, reportLimitMB))
	for range keptSets {
		if _, err := timed(b.rimpair, append([]string{"job", "add", dir, "--keep-only"}, s.photos...)...); err != nil {
			return err
		}
	}
	return b.reportRows(dir, (reportStages+keptSets)*len(s.photos))
}

// reportRows are the sizes of a job's report, and how long it takes.
func (b *bench) reportRows(dir string, photos int) error {
	var report cost
	for range listRuns {
		c, err := timed(b.rimpair, "job", "report", dir)
		if err != nil {
			return err
		}
		report = report.best(c)
	}
	b.printf("\n%-40s %8s %10s\n", fmt.Sprintf("report of %d photos of 12 megapixels", photos), "wall s", "MB")
	for _, name := range []string{"report.html", "report.pdf"} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		b.printf("%-40s %8s %10.2f\n", name, "", float64(info.Size())/1e6)
	}
	b.printf("%-40s %8.2f\n", "rimpair job report, both", report.wall.Seconds())
	return nil
}

func (s *shoot) rim() string { return fmt.Sprint(s.truth.Wheels.L.BeadSeatMm) }

// measurable is the first set of three large photos that is not refused.
func (b *bench) measurable() (*shoot, error) {
	shoots, err := b.twelveMegapixels()
	if err != nil {
		return nil, err
	}
	for i := range shoots {
		s := &shoots[i]
		if exec.Command(b.rimpair, append([]string{"measure", "--rim", s.rim()}, s.photos...)...).Run() == nil {
			return s, nil
		}
	}
	return nil, errors.New("none of the sets of large photos can be measured")
}

// writeStore makes the records of a store and says how many bytes they have; their
// photos and results, which listing does not look at, are left out.
func writeStore(store string) (bytes int, err error) {
	begun := time.Date(2026, 1, 1, 8, 0, 0, 0, time.UTC)
	for i := range storeJobs {
		record, err := json.MarshalIndent(wholeJob(i, begun.Add(time.Duration(i)*time.Hour)), "", "  ")
		if err != nil {
			return 0, err
		}
		dir := filepath.Join(store, fmt.Sprintf("job-%04d", i))
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return 0, err
		}
		if err := os.WriteFile(filepath.Join(dir, "job.json"), record, 0o600); err != nil {
			return 0, err
		}
		bytes += len(record)
	}
	return bytes, nil
}

// wholeJob has every check and every stage, with three photos each.
func wholeJob(i int, at time.Time) job.Job {
	j := job.Job{Schema: job.Schema, Created: at, Customer: fmt.Sprintf("Customer %d", i), Reference: fmt.Sprintf("2026-%d", i)}
	j.Vehicle = job.Vehicle{Name: "recumbent tricycle", RimMm: 406, TrackMm: &measure.Known{Value: 720, PlusMinus: 2}}
	j.Vehicle.Steering.Thread = "M6"
	for _, c := range job.Checks() {
		j.Entries = append(j.Entries, job.Entry{At: at, Check: &job.Check{ID: c.ID, Result: job.OK}})
	}
	sum := strings.Repeat("0123456789abcdef", 4)
	toe := measure.Quantity{Value: 1.0123456789, StandardUncertainty: 0.123456789, Low95: 0.77037037156, High95: 1.25432098623}
	for _, stage := range job.Stages() {
		number := len(j.Entries) + 1
		word := strings.ReplaceAll(string(stage), "_", "-")
		e := job.Entry{At: at, Measurement: &job.Measurement{Stage: stage, Valves: "top", TotalToeMm: toe, RimTotalToeMm: toe,
			Result: job.File{File: fmt.Sprintf("results/%02d-%s.json", number, word), SHA256: sum}}}
		for _, name := range []string{"front.jpg", "rear.jpg", "above.jpg"} {
			e.Photos = append(e.Photos, job.File{File: fmt.Sprintf("photos/%02d-%s/%s", number, word, name), SHA256: sum, Name: name})
		}
		j.Entries = append(j.Entries, e)
		if stage == job.AsFound {
			j.Entries = append(j.Entries, job.Entry{At: at, Adjustment: &job.Adjustment{Turned: []job.Turned{{Rod: "tie_rod", LongerByTurns: 0.5}}}})
		}
	}
	return j
}

// readStore merely reads the records.
func readStore(store string) (cost, error) {
	start := time.Now()
	for i := range storeJobs {
		if _, err := os.ReadFile(filepath.Join(store, fmt.Sprintf("job-%04d", i), "job.json")); err != nil {
			return cost{}, err
		}
	}
	return cost{wall: time.Since(start)}, nil
}
