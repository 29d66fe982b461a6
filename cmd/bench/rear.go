package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"

	"rimpair/measure"
	"rimpair/samples"
)

// rearTables look for the rear wheel in the photos given, then in drawn ones.
func (b *bench) rearTables() error {
	shoots, err := readShoots(photoFolder())
	if err != nil {
		return err
	}
	b.title("Rear wheel in the photos: off the truth, ± half the 95 %% interval")
	var given []*trial
	known := map[string]*trial{}
	for i := range shoots {
		if s := &shoots[i]; !s.noSheet() {
			given = append(given, s.trial(s.photos, true, known))
		}
	}
	b.measure(given)
	b.rears(given)

	scenes := min(b.scenes, 40)
	b.title("Rear wheel in %d drawn vehicles from seed %d, front, rear and from behind all of it, %d px", scenes, b.seed, b.long)
	var drawn []*trial
	for i := range scenes {
		t, err := b.drawnRear(b.seed + uint64(i))
		if err != nil {
			return err
		}
		drawn = append(drawn, t)
	}
	b.rears(drawn)
	return nil
}

func (b *bench) drawnRear(seed uint64) (*trial, error) {
	dir := filepath.Join(b.dir, fmt.Sprint("rear", seed))
	defer os.RemoveAll(dir)
	scene := samples.NewScene(seed, samples.Options{LongSide: b.long, Views: []samples.View{samples.Front, samples.RearView, samples.Behind}})
	if err := scene.Write(dir); err != nil {
		return nil, err
	}
	s := split(dir, scene.Truth())[0]
	t := s.trial(s.photos, true, map[string]*trial{})
	t.measure(b.rimpair)
	t.set = fmt.Sprint(seed)
	return t, nil
}

// rearFigure is one quantity of the rear wheel.
type rearFigure struct {
	name  string
	q     measure.Quantity
	truth float64
}

func (f *rearFigure) error() float64 { return f.q.Value - f.truth }

// rearFigures are those of a result beside the truth: positive to the right, and each front
// wheel's own toe.
func (t *trial) rearFigures() []rearFigure {
	w, r := &t.truth.Wheels, t.outcome.Rear
	// From the rear hub to the middle of the track; headings grow to the left.
	dx, dy := (w.L.HubMm[0]+w.R.HubMm[0])/2-w.C.HubMm[0], (w.L.HubMm[1]+w.R.HubMm[1])/2-w.C.HubMm[1]
	bisector := (w.L.HeadingDeg + w.R.HeadingDeg) / 2
	base := math.Hypot(dx, dy)
	thrust := bisector - w.C.HeadingDeg
	sin, cos := math.Sincos(w.C.HeadingDeg * math.Pi / 180)
	centreline := math.Atan2(-dx, dy) * 180 / math.Pi
	return []rearFigure{
		{"thrust °", r.ThrustDeg, thrust},
		{"thrust mm", r.ThrustMm, base * math.Sin(thrust*math.Pi/180)},
		{"lean °", r.LeanDeg, w.C.CamberDeg},
		{"offset mm", r.OffsetMm, -dx*cos - dy*sin},
		{"steering °", r.SteeringOffDeg, centreline - bisector},
		{"base mm", r.WheelbaseMm, base},
		{"left toe °", t.outcome.Wheels[measure.Left].ToeDeg, *w.L.RimToeDeg + centreline},
		{"right toe °", t.outcome.Wheels[measure.Right].ToeDeg, *w.R.RimToeDeg - centreline},
	}
}

// rears prints what came of the rear wheel, and how often.
func (b *bench) rears(trials []*trial) {
	measured, found := 0, 0
	squares, worst, inside := map[string]float64{}, map[string]float64{}, map[string]int{}
	var names []string
	for _, t := range trials {
		if !t.measured() {
			continue
		}
		measured++
		if t.outcome.Rear == nil {
			continue
		}
		found++
		b.printf("%-16s", t.set)
		names = names[:0]
		for _, f := range t.rearFigures() {
			e, in := f.error(), covers(f.q, f.truth)
			names = append(names, f.name)
			squares[f.name] += e * e
			worst[f.name] = max(worst[f.name], math.Abs(e))
			mark := " OUT"
			if in {
				mark = ""
				inside[f.name]++
			}
			b.printf("  %s %+.2f ± %.2f%s", f.name, e, (f.q.High95-f.q.Low95)/2, mark)
		}
		b.printf("\n")
	}
	b.printf("found in %d of %d sets that were measured\n", found, measured)
	for _, name := range names {
		b.printf("  %-11s RMS %.2f, worst %.2f, in 95 %% %d of %d\n", name, math.Sqrt(squares[name]/float64(found)), worst[name], inside[name], found)
	}
	b.printf("\n")
}
