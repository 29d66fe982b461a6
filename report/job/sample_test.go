package job

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rimpair/measure"
)

// quantity has a symmetric interval of 1.96 standard uncertainties.
func quantity(value, u float64) measure.Quantity {
	return measure.Quantity{Value: value, StandardUncertainty: u, Low95: value - 1.96*u, High95: value + 1.96*u}
}

// result is as much of a measurement as the record looks at.
func result(toe, u, rimsU float64) measure.Result {
	wheel := func(side string) measure.WheelResult {
		return measure.WheelResult{Side: side, ToeDeg: quantity(0.1, 0.02), CamberDeg: quantity(-0.2, 0.05), RimDiameterMm: quantity(420, 0.4), RimSeen: true}
	}
	return measure.Result{
		Schema: "rimpair/measurement/1", TotalToeMm: quantity(toe, u), RimTotalToeMm: quantity(toe, rimsU),
		Wheels: []measure.WheelResult{wheel("left"), wheel("right")},
	}
}

var noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

// newJob makes an empty job in a new folder.
func newJob(t testing.TB) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "job-1")
	require.NoError(t, Create(dir, Job{Created: noon, Reference: "A-17", Vehicle: Vehicle{RimMm: 406}}))
	return dir
}

// photo makes a file that is not a photo: the record does not care.
func photo(t testing.TB, name, content string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(file, []byte(content), 0o600))
	return file
}

// addMeasurement adds a measurement with photos to a draft.
func addMeasurement(d *Draft, stage Stage, r measure.Result, photos ...string) error {
	e := Entry{At: noon, Measurement: &Measurement{Stage: stage, TotalToeMm: r.TotalToeMm, RimTotalToeMm: r.RimTotalToeMm}}
	for _, source := range photos {
		f, err := d.AddPhoto(&e, source)
		if err != nil {
			return err
		}
		e.Photos = append(e.Photos, f)
	}
	content, err := json.Marshal(r)
	if err != nil {
		return err
	}
	if e.Measurement.Result, err = d.AddResult(&e, content); err != nil {
		return err
	}
	d.Append(e)
	return nil
}

// filled is a job with an entry of each kind.
func filled(t testing.TB) string {
	t.Helper()
	dir := newJob(t)
	front, rear := photo(t, "front.jpg", "front"), photo(t, "rear.jpg", strings.Repeat("rear", 99))
	require.NoError(t, Update(dir, func(d *Draft) error {
		e := Entry{At: noon, Check: &Check{ID: "spokes", Result: Failed}, Note: "two are loose"}
		f, err := d.AddPhoto(&e, front)
		if err != nil {
			return err
		}
		e.Photos = []File{f}
		d.Append(e)
		return d.SetCameraProfile("phone.json", []byte("{}"))
	}))
	require.NoError(t, Update(dir, func(d *Draft) error {
		if err := addMeasurement(d, AsFound, result(5, 0.5, 0.1), front, rear); err != nil {
			return err
		}
		d.Append(Entry{At: noon, Adjustment: &Adjustment{Turned: []Turned{{"tie_rod", -0.5}}}})
		d.Append(Entry{At: noon, Note: "the rider came by"})
		return nil
	}))
	return dir
}

// mustRead reads a job that has to be whole.
func mustRead(t testing.TB, dir string) *Job {
	t.Helper()
	s, err := Inspect(dir)
	require.NoError(t, err)
	require.Empty(t, s.Damage)
	return s.Job
}
