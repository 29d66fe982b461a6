package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strings"

	"rimpair/measure"
	"rimpair/samples"
	"rimpair/vision"
)

// trial is one measurement and what is true of it.
type trial struct {
	set    string
	photos []string
	rimMm  float64 // 0: not told
	camera string  // profile to measure with, if any
	truth  samples.StateTruth
	// otherTruths are those of photos between which something was moved.
	otherTruths []samples.StateTruth
	made        bool
	outcome     outcome
}

// outcome is what rimpair said: a result, a refusal, or neither, which is a fault.
type outcome struct {
	measure.Result
	Refused *vision.Refusal `json:"refused"`
	fault   string
}

// measure runs the program as a person would, and keeps what it says.
func (t *trial) measure(rimpair string) {
	args := append([]string{"measure", "--json"}, t.photos...)
	if t.rimMm != 0 {
		args = append(args, "--rim", fmt.Sprint(t.rimMm))
	}
	// No camera profile of whoever runs this may help.
	args = append(args, "--camera", cmp.Or(t.camera, "none"))
	stdout, err := exec.Command(rimpair, args...).Output()
	const exitRefused = 3
	var exit *exec.ExitError
	if err != nil && !(errors.As(err, &exit) && exit.ExitCode() == exitRefused) {
		t.outcome.fault = err.Error()
		if exit != nil && len(exit.Stderr) > 0 {
			t.outcome.fault = strings.TrimSpace(string(exit.Stderr))
		}
		return
	}
	if err := json.Unmarshal(stdout, &t.outcome); err != nil {
		t.outcome.fault = err.Error()
	}
}

// measured says that there is a number.
func (t *trial) measured() bool { return t.outcome.fault == "" && t.outcome.Refused == nil }

// errorMm is how far total toe is off, of the rims as they stood.
func (t *trial) errorMm() float64 { return t.outcome.RimTotalToeMm.Value - t.truth.RimTotalToeMm }

// z is the error counted in standard uncertainties.
func (t *trial) z() float64 {
	return math.Abs(t.errorMm()) / t.outcome.RimTotalToeMm.StandardUncertainty
}

// wide is whether the interval says by itself that the photos do not settle toe.
func (t *trial) wide() bool { return t.outcome.RimTotalToeMm.StandardUncertainty > wideMm }

func (t *trial) inside() bool { return covers(t.outcome.RimTotalToeMm, t.truth.RimTotalToeMm) }

// insideTotal is whether the interval with the assumed run-out holds the axles' toe.
func (t *trial) insideTotal() bool { return covers(t.outcome.TotalToeMm, t.truth.TotalToeMm) }

func covers(q measure.Quantity, truth float64) bool { return q.Low95 <= truth && truth <= q.High95 }

// found counts the photos in which both wheels were found: where their edges were
// used, in a solution whose wheels stand where the true ones do.
func (t *trial) found() int {
	if !t.measured() || math.Abs(t.outcome.TrackMm.Value-t.truth.TrackMm) > foundTrackMm {
		return 0
	}
	n := 0
	for _, p := range t.outcome.Photos {
		both := len(p.Wheels) == 2
		for _, w := range p.Wheels {
			both = both && w.TyrePoints+w.RimPoints >= foundPoints
		}
		if both {
			n++
		}
	}
	return n
}

const (
	// foundTrackMm is how far off the track of wheels may be that were found: a
	// single photo knows lengths across the vehicle to 2 %.
	foundTrackMm = 15
	foundPoints  = 20 // edge points on a wheel that was found
)

// names are the photos' names without what the set's folder says already.
func (t *trial) names() string {
	names := make([]string, len(t.photos))
	for i, p := range t.photos {
		names[i] = strings.TrimSuffix(filepath.Base(p), filepath.Ext(p))
	}
	return strings.Join(names, " ")
}
