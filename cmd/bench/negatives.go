package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/sync/errgroup"

	"rimpair/samples"
)

// mishap is something that goes wrong between the photo from the front and the one
// from the rear, or with both.
type mishap struct {
	name string
	both bool // both photos show it, else only the one from the rear
	do   func(*samples.Scene)
}

func mishaps() []mishap {
	toe := func(deg float64) func(*samples.Scene) {
		return func(s *samples.Scene) { s.Vehicle.Left.ToeDeg += deg; s.Vehicle.Right.ToeDeg += deg }
	}
	sheet := func(x, y float64) func(*samples.Scene) {
		return func(s *samples.Scene) { s.Sheets[1].X += x; s.Sheets[1].Y += y }
	}
	printed := func(scale float64) func(*samples.Scene) {
		return func(s *samples.Scene) {
			for i := range s.Sheets {
				s.Sheets[i].ScaleX *= scale
				s.Sheets[i].ScaleY *= scale
			}
		}
	}
	return []mishap{
		{"none", true, func(*samples.Scene) {}},
		{"tie rods turned, 1° a wheel", false, toe(1)},
		{"tie rods turned, 0.3° a wheel", false, toe(0.3)},
		{"steered by 2°", false, func(s *samples.Scene) { s.Vehicle.Left.ToeDeg += 2; s.Vehicle.Right.ToeDeg -= 2 }},
		{"rolled by 15 mm", false, func(s *samples.Scene) { s.Vehicle.Left.Hub.Y += 15; s.Vehicle.Right.Hub.Y += 15 }},
		{"rolled by 60 mm", false, func(s *samples.Scene) { s.Vehicle.Left.Hub.Y += 60; s.Vehicle.Right.Hub.Y += 60 }},
		{"one sheet 5 mm across", false, sheet(5, 0)},
		{"one sheet 5 mm along", false, sheet(0, 5)},
		{"one sheet turned 1°", false, func(s *samples.Scene) { s.Sheets[1].YawDeg++ }},
		{"printed at 97 %", true, printed(0.97)},
		{"printed at 94 %", true, printed(0.94)},
		{"one sheet's corners 5 mm up", true, func(s *samples.Scene) { s.Sheets[0].LiftMm = [4]float64{5, 5, 5, 5} }},
		{"left wheel on a 10 mm board", true, func(s *samples.Scene) { s.Vehicle.Left.Hub.Z += 10 }},
		{"another vehicle at the rear", false, func(s *samples.Scene) { s.Vehicle = samples.NewScene(s.Seed+1_000_003, samples.Options{}).Vehicle }},
	}
}

// verdict counts what came of a mishap.
type verdict struct{ refused, right, wrong int }

// negativesTable shows what mishaps lead to. A number is right when its interval
// holds the toe, and that of the track the track, as either photo saw them.
func (b *bench) negativesTable() error {
	scenes := min(b.scenes, 40)
	b.title("Mishaps between or in the photos: %d drawn scenes from seed %d, front and rear, %d px", scenes, b.seed, b.long)
	list := mishaps()
	verdicts := make([][]*trial, scenes)
	var group errgroup.Group
	group.SetLimit(2)
	for i := range scenes {
		group.Go(func() (err error) {
			verdicts[i], err = b.mishapTrials(b.seed+uint64(i), list)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	b.printf("%-32s %8s %8s %8s  %s\n", "", "refused", "right", "WRONG", "wrong ones: seed, error and u in mm, off in the track in mm")
	for k, m := range list {
		var v verdict
		wrong := ""
		for i := range verdicts {
			t := verdicts[i][k]
			switch {
			case t.outcome.Refused != nil:
				v.refused++
			case t.outcome.fault == "" && t.right():
				v.right++
			default:
				v.wrong++
				wrong += fmt.Sprintf(" %d: %+.2f, %.2f, %+.1f;", b.seed+uint64(i), t.errorMm(), t.outcome.RimTotalToeMm.StandardUncertainty, t.outcome.TrackMm.Value-t.truth.TrackMm)
			}
		}
		b.printf("%-32s %8d %8d %8d %s\n", m.name, v.refused, v.right, v.wrong, wrong)
	}
	b.limits("no wrong number but for the 5 % of the first line; few refused in the first line")
	return nil
}

// right says whether the intervals hold what is true in either photo.
func (t *trial) right() bool {
	toe, track := false, false
	for _, truth := range append([]samples.StateTruth{t.truth}, t.otherTruths...) {
		toe = toe || covers(t.outcome.RimTotalToeMm, truth.RimTotalToeMm)
		track = track || covers(t.outcome.TrackMm, truth.TrackMm)
	}
	return toe && track
}

func (b *bench) mishapTrials(seed uint64, list []mishap) ([]*trial, error) {
	dir := filepath.Join(b.dir, fmt.Sprint("mishaps", seed))
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	plain := samples.NewScene(seed, samples.Options{LongSide: b.long, Views: []samples.View{samples.Front, samples.RearView}, Guards: samples.NoGuards})
	front := filepath.Join(dir, "front.jpg")
	if err := writePhoto(plain, 0, front); err != nil {
		return nil, err
	}
	var trials []*trial
	for k, m := range list {
		scene := plain
		scene.Sheets = slices.Clone(plain.Sheets)
		m.do(&scene)
		t := &trial{
			set: fmt.Sprint(seed), rimMm: plain.Vehicle.Left.BeadSeatMm, truth: plain.Vehicle.State(0),
			photos: []string{front, filepath.Join(dir, fmt.Sprintf("rear%d.jpg", k))},
		}
		if m.both {
			t.truth = scene.Vehicle.State(0)
			t.photos[0] = filepath.Join(dir, fmt.Sprintf("front%d.jpg", k))
			if err := writePhoto(scene, 0, t.photos[0]); err != nil {
				return nil, err
			}
		} else {
			t.otherTruths = []samples.StateTruth{scene.Vehicle.State(0)}
		}
		if err := writePhoto(scene, 1, t.photos[1]); err != nil {
			return nil, err
		}
		t.measure(b.rimpair)
		trials = append(trials, t)
	}
	return trials, nil
}

func writePhoto(s samples.Scene, i int, path string) error {
	file, err := s.Photo(i)
	if err != nil {
		return err
	}
	return os.WriteFile(path, file, 0o600)
}
