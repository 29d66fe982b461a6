package serve

import (
	"errors"
	"fmt"
	"log"
	"path/filepath"
	"runtime/debug"
	"slices"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
	judging "rimpair/report/review"
	"rimpair/vision"
)

// This file measures the photos of a stage while they are being taken: as soon as one
// is worth it, and again with each that comes. Photos of several positions of the
// wheels are measured together, as the measure command does.

// Position is the photos of one position of the wheels.
type Position struct {
	Valves string // where they stand: top, bottom
	Paths  []string
}

// measurement is what some photos of a shoot came to.
type measurement struct {
	of      string               // what was measured, to tell when it is out of date
	shots   []*shot              // in the order of the positions
	found   *measure.Measurement // nil when refused
	inputs  []measure.Input      // without their pixels
	refusal *vision.Refusal
	// alone is the position whose photos were found, where those of all together were
	// refused for the reason above.
	alone string
}

// measured is what a page is told. Events tell the state alone: the page asks for the
// rest, in its language.
type measured struct {
	State   string          `json:"state"` // measuring, done
	Result  *measure.Result `json:"result,omitempty"`
	Refused *vision.Refusal `json:"refused,omitempty"`
	Alone   string          `json:"alone,omitempty"` // the position that the result is of, where all together were refused
}

// measureSoon measures what is there, now or when the running measurement is done.
func (t *shoot) measureSoon() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.running {
		t.again = true
		return
	}
	if len(t.goodShots()) == 0 && t.latest == nil {
		return
	}
	t.running = true
	t.server.work.Go(t.measure)
}

// goodShots are the photos worth measuring, those of one position together, each in
// the order in which they came. The lock is held.
func (t *shoot) goodShots() []*shot {
	var list []*shot
	for _, p := range t.shots {
		if p.Judged == nil || p.Judged.Judgement.Verdict == judging.Repeat {
			continue
		}
		at := len(list)
		for i, q := range list {
			if q.Position == p.Position {
				at = i + 1
			}
		}
		list = slices.Insert(list, at, p)
	}
	return list
}

// measure measures until the newest photos are done.
func (t *shoot) measure() {
	for {
		t.mu.Lock()
		shots, latest := t.goodShots(), t.latest
		t.again = false
		t.mu.Unlock()
		t.stream.send("measured", measured{State: "measuring"})
		latest = t.measureShots(shots, latest)
		t.mu.Lock()
		closed := t.server.closing.Err() != nil
		if !closed {
			t.latest = latest
		}
		t.running = t.again && !closed
		going := t.running
		t.mu.Unlock()
		switch {
		case closed:
			return // it is measured when the server is up again
		case !going:
			t.stream.send("measured", measured{State: "done"})
			return
		}
	}
}

// measureShots measures photos where they are not measured already; nil when there
// are none.
func (t *shoot) measureShots(shots []*shot, latest *measurement) *measurement {
	if len(shots) == 0 {
		return nil
	}
	done := &measurement{shots: shots}
	j, _, err := job.Read(t.dir)
	if err != nil {
		done.refusal = failed(err)
		return done
	}
	camera := ""
	if p := j.Vehicle.CameraProfile; p != nil {
		camera = filepath.Join(t.dir, filepath.FromSlash(p.File))
	}
	settings := measure.Settings{BeadSeatMm: j.Vehicle.RimMm, RunoutMm: t.server.options.RunoutMm, SteerWithinDeg: measure.UsualSteerWithinDeg, RulerMm: j.RulerMm}
	done.of = fmt.Sprint(settings, camera)
	for _, p := range shots {
		done.of += " " + p.Key
	}
	if latest != nil && latest.of == done.of {
		return latest
	}
	t.server.measure(done, t.spool, settings, camera)
	if done.refusal != nil {
		t.server.measureAlone(done, t.spool, settings, camera)
	}
	return done
}

// measureAlone falls back on the position that settles most where the photos of all
// positions together were refused.
func (s *Server) measureAlone(all *measurement, from spool, settings measure.Settings, camera string) {
	positions := all.byPosition()
	if len(positions) < 2 {
		return
	}
	for _, shots := range positions {
		one := &measurement{shots: shots}
		s.measure(one, from, settings, camera)
		if one.found != nil && (all.found == nil || one.u() < all.u()) {
			all.shots, all.found, all.inputs, all.alone = one.shots, one.found, one.inputs, shots[0].Position
		}
	}
}

func (m *measurement) u() float64 { return m.found.Result.TotalToeMm.StandardUncertainty }

// measure does one measurement at a time, whatever the photos do to the measuring.
func (s *Server) measure(done *measurement, from spool, settings measure.Settings, camera string) {
	defer func() {
		if p := recover(); p != nil {
			log.Printf("measuring failed: %v\n%s", p, debug.Stack())
			done.found, done.refusal = nil, failed(errors.New("measuring failed"))
		}
	}()
	select {
	case s.measuring <- struct{}{}:
		defer func() { <-s.measuring }()
	case <-s.closing.Done():
		return
	}
	release, err := s.holdPixels(0)
	if err != nil {
		return
	}
	defer release()
	found, inputs, err := s.options.Measure(done.positions(from), settings, camera)
	var refusal *vision.Refusal
	switch {
	case errors.As(err, &refusal):
		done.refusal = done.byKey(refusal, from)
	case err != nil:
		done.refusal = failed(err)
	default:
		for i := range inputs {
			photo := *inputs[i].Photo
			photo.Gray, photo.Blue = nil, nil // the pixels are not wanted any more
			inputs[i].Photo = &photo
		}
		done.found, done.inputs = found, inputs
	}
}

// positions are the photos by where the valves stand.
func (m *measurement) positions(in spool) []Position {
	var list []Position
	for _, shots := range m.byPosition() {
		position := Position{Valves: shots[0].Position}
		for _, p := range shots {
			position.Paths = append(position.Paths, in.path(p))
		}
		list = append(list, position)
	}
	return list
}

// byPosition parts the shots where the position changes: those of one lie together.
func (m *measurement) byPosition() (parts [][]*shot) {
	for i, p := range m.shots {
		if i == 0 || p.Position != m.shots[i-1].Position {
			parts = append(parts, nil)
		}
		last := &parts[len(parts)-1]
		*last = append(*last, p)
	}
	return parts
}

// failed is a measurement that went wrong for no fault of the photos.
func failed(err error) *vision.Refusal {
	log.Print(err)
	return &vision.Refusal{Code: "failed", Reason: "The photos could not be measured.", Remedy: "Try again; what went wrong stands in the terminal."}
}

// byKey names the photo of a refusal by its key.
func (m *measurement) byKey(r *vision.Refusal, in spool) *vision.Refusal {
	named := *r
	for _, p := range m.shots {
		if r.Photo == in.path(p) {
			named.Photo = p.Key
		}
	}
	return &named
}

// told is where the measuring is and what it came to, nil before anything can be
// measured. The photos have their keys in place of their names, which need not differ.
func (t *shoot) told(l *report.Language) *measured {
	t.mu.Lock()
	running, m := t.running, t.latest
	t.mu.Unlock()
	told := &measured{State: "done"}
	if running {
		told.State = "measuring"
	}
	switch {
	case m == nil && !running:
		return nil
	case m == nil:
		return told
	}
	told.Refused, told.Alone = m.refusal, m.alone
	if m.found != nil {
		r := l.Worded(m.found.Result)
		for i := range r.Photos {
			r.Photos[i].File = m.shots[i].Key
		}
		told.Result = &r
	}
	return told
}

// overlay is what was measured in a photo, nil when nothing was.
func (t *shoot) overlay(key string) *measure.Overlay {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.latest == nil || t.latest.found == nil {
		return nil
	}
	i := slices.IndexFunc(t.latest.shots, func(p *shot) bool { return p.Key == key })
	if i < 0 {
		return nil
	}
	return &t.latest.found.Overlays[i]
}
