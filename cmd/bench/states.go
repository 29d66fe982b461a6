package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"rimpair/measure"
	"rimpair/samples"
	"rimpair/vision"
)

// answer is what a command of several states wrote, whichever it was.
type answer struct {
	measure.Result
	Found         bool             `json:"found"`
	Side          string           `json:"side"`
	Axis          string           `json:"axis"`
	AtRimMm       measure.Quantity `json:"at_rim_mm"`
	UprightDeg    measure.Quantity `json:"upright_deg"`
	LengthwiseDeg measure.Quantity `json:"lengthwise_deg"`

	States  []measure.StateResult `json:"states"`
	Changes []measure.StateChange `json:"changes"`
	Refused *vision.Refusal       `json:"refused"`
}

// ask runs a command of several states.
func (b *bench) ask(beadSeatMm float64, command ...string) (answer, error) {
	args := append(command, "--json", "--camera", "none", "--rim", fmt.Sprint(beadSeatMm))
	stdout, err := exec.Command(b.rimpair, args...).Output()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		return answer{}, err
	}
	var a answer
	if err := json.Unmarshal(stdout, &a); err != nil {
		return answer{}, fmt.Errorf("%v: %w", args, err)
	}
	return a, nil
}

// statesTables measures photos of several states: those given, then drawn ones.
func (b *bench) statesTables() error {
	shoots, err := readShoots(photoFolder())
	if err != nil {
		return err
	}
	b.title("Half-turn pairs among the photos, against the axles' toe (limit: two sheets on a diagonal within 0.4 mm, all inside)")
	b.pairHead()
	for i := range len(shoots) - 1 {
		if s, next := &shoots[i], &shoots[i+1]; s.set == next.set && strings.Contains(s.set, "pair") {
			if err := b.pair(s.set, s, next); err != nil {
				return err
			}
		}
	}
	b.title("Before against after a turn of the tie rods (limit: the change inside, narrower than either value's interval)")
	for i := range len(shoots) - 1 {
		if s, next := &shoots[i], &shoots[i+1]; s.set == next.set && strings.HasPrefix(s.set, "adjust-") {
			if err := b.change(s.set, s, next); err != nil {
				return err
			}
		}
	}
	return b.drawnStates()
}

func named(name string, photos []string) string { return name + "=" + strings.Join(photos, ",") }

func (b *bench) pairHead() {
	b.printf("%-12s %8s %8s %8s %s\n", "", "true", "off", "± 95 %", "run-out left, right: found, its interval, true")
}

func (b *bench) pair(name string, s, next *shoot) error {
	a, err := b.ask(s.truth.Wheels.L.BeadSeatMm, "measure", "--at", named("top", s.photos), "--at", named("bottom", next.photos))
	if err != nil {
		return err
	}
	if a.Refused != nil {
		b.printf("%-12s refused: %s\n", name, a.Refused.Code)
		return nil
	}
	q := a.TotalToeMm
	b.printf("%-12s %8.2f %+8.2f %8.2f %s", name, s.truth.TotalToeMm, q.Value-s.truth.TotalToeMm, (q.High95-q.Low95)/2, inOrOut(q, s.truth.TotalToeMm))
	for i, w := range []samples.WheelTruth{s.truth.Wheels.L, s.truth.Wheels.R} {
		r := a.Runout[i].PeakToPeakMm
		b.printf("; %.2f (%.2f to %.2f) %.2f %s", r.Value, r.Low95, r.High95, w.RunoutMm, inOrOut(r, w.RunoutMm))
	}
	b.printf("\n")
	return nil
}

func inOrOut(q measure.Quantity, truth float64) string {
	if covers(q, truth) {
		return "in"
	}
	return "OUT"
}

func (b *bench) change(name string, s, next *shoot) error {
	a, err := b.ask(s.truth.Wheels.L.BeadSeatMm, "compare", named("before", s.photos), named("after", next.photos))
	if err != nil {
		return err
	}
	if a.Refused != nil {
		b.printf("%-12s refused: %s\n", name, a.Refused.Code)
		return nil
	}
	half := func(q measure.Quantity) float64 { return (q.High95 - q.Low95) / 2 }
	c := a.Changes[0].StateFigures
	hub := func(t *samples.StateTruth) float64 { return (t.Wheels.L.HubMm[2] + t.Wheels.R.HubMm[2]) / 2 }
	for _, row := range []struct {
		what        string
		q           measure.Quantity
		truth       float64
		first, last measure.Quantity
	}{
		{"toe mm", c.RimTotalToeMm, next.truth.RimTotalToeMm - s.truth.RimTotalToeMm, a.States[0].TotalToeMm, a.States[1].TotalToeMm},
		{"of rims", c.RimTotalToeMm, next.truth.RimTotalToeMm - s.truth.RimTotalToeMm, a.States[0].RimTotalToeMm, a.States[1].RimTotalToeMm},
		{"camber L °", c.LeftCamberDeg, next.truth.Wheels.L.RimCamberDeg - s.truth.Wheels.L.RimCamberDeg, a.States[0].LeftCamberDeg, a.States[1].LeftCamberDeg},
		{"track mm", c.TrackMm, next.truth.TrackMm - s.truth.TrackMm, a.States[0].TrackMm, a.States[1].TrackMm},
		{"hub mm", c.HubHeightMm, hub(&next.truth) - hub(&s.truth), a.States[0].HubHeightMm, a.States[1].HubHeightMm},
	} {
		b.printf("%-12s %-10s true %+6.2f, off %+6.2f, ± %.2f, of the values ± %.2f, %.2f: %s\n",
			name, row.what, row.truth, row.q.Value-row.truth, half(row.q), half(row.first), half(row.last), inOrOut(row.q, row.truth))
	}
	return nil
}

// drawnStates draws vehicles in several states.
func (b *bench) drawnStates() error {
	scenes := min(b.scenes, 12)
	b.title("%d drawn vehicles in several states from seed %d, front and rear, %d px", scenes, b.seed, b.long)
	b.pairHead()
	for i := range scenes {
		if err := b.drawnState(b.seed + uint64(i)); err != nil {
			return err
		}
	}
	return nil
}

// drawnState draws one vehicle: as it is, turned by half a turn, with play in its left
// wheel, and with a rider, who lets the hubs sink and the wheels lean.
func (b *bench) drawnState(seed uint64) error {
	dir := filepath.Join(b.dir, fmt.Sprint("states", seed))
	defer os.RemoveAll(dir)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	plain := samples.NewScene(seed, samples.Options{LongSide: b.long, Views: []samples.View{samples.Front, samples.RearView}, Guards: samples.NoGuards})
	const upright, lengthwise = 0.4, 0.3
	var list []shoot
	for _, state := range []struct {
		name string
		do   func(*samples.Scene)
	}{
		{"as it is", func(*samples.Scene) {}},
		{"turned", func(s *samples.Scene) { s.Shots[0].TurnDeg, s.Shots[1].TurnDeg = 180, 180 }},
		{"kingpin", func(s *samples.Scene) { s.Vehicle.Left.ToeDeg += upright }},
		{"bearing", func(s *samples.Scene) { s.Vehicle.Left.CamberDeg += lengthwise }},
		{"rider", func(s *samples.Scene) {
			for _, w := range []*samples.Wheel{&s.Vehicle.Left, &s.Vehicle.Right} {
				w.Hub.Z -= 2
				w.ToeDeg += 0.1
				w.CamberDeg -= 0.5
			}
		}},
	} {
		scene := plain
		scene.Seed += uint64(len(list)) << 32 // other noise in other photos
		scene.Shots = slices.Clone(plain.Shots)
		state.do(&scene)
		s := shoot{set: state.name, truth: scene.Vehicle.State(scene.Shots[0].TurnDeg)}
		for k := range scene.Shots {
			s.photos = append(s.photos, filepath.Join(dir, fmt.Sprint(len(list), k, ".jpg")))
			if err := writePhoto(scene, k, s.photos[k]); err != nil {
				return err
			}
		}
		list = append(list, s)
	}
	name := fmt.Sprint(seed)
	if err := b.pair(name, &list[0], &list[1]); err != nil {
		return err
	}
	if err := b.change(name, &list[0], &list[4]); err != nil {
		return err
	}
	radius := list[0].truth.Wheels.L.RimDiameterMm / 2
	for k, deg := range map[int]float64{2: upright, 3: lengthwise} { // of the list
		a, err := b.ask(list[0].truth.Wheels.L.BeadSeatMm, "play", named("in", list[k].photos), named("out", list[0].photos))
		if err != nil {
			return err
		}
		if a.Refused != nil {
			b.printf("%-12s play, %s: refused: %s\n", name, list[k].set, a.Refused.Code)
			continue
		}
		truth := radius * deg * math.Pi / 180
		b.printf("%-12s play, %s: true left %.2f mm, found %s %.2f (%.2f to %.2f) mm, %s: %s\n", name, list[k].set, truth,
			a.Side, a.AtRimMm.Value, a.AtRimMm.Low95, a.AtRimMm.High95, a.Axis, inOrOut(a.AtRimMm, truth))
	}
	return nil
}
