package measure

import (
	"cmp"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file is about turning rods: which way, how far, in what steps.
//
// A right-handed screw relation moves whatever part turns along its own turn
// vector ω (right-hand rule, thumb along ω), be it the bolt or the nut; a left-handed
// one moves it against ω. So a rod whose ω points from its right-handed end to its left-handed
// end leaves both ends, and gets longer. Its top, above its axis along z, then
// moves along ω × z.

const (
	// turnSteps is into how many parts a turn can be set by eye, against a mark on
	// the hexagon: a quarter of a flat, 15°. Common practice, no source.
	turnSteps = 24
	flats     = 6 // of the hexagon
)

// rod is one rod and how its length is set.
type rod struct {
	name string
	RodThread
	thread Thread
	leadMm float64 // longer by a turn
	step   float64 // smallest step, in turns
	// longer is the direction of ω that makes it longer; zero: not known, or none
	// as the rod is not turned.
	longer r3.Vec
	// share is how many turns of this rod go into one turn of the steering: both of
	// two rods, but not the handlebar's, turn for the toe.
	share float64
}

// Names of rods.
const (
	tieRod   = "tie_rod"
	leftRod  = "left_rod"
	rightRod = "right_rod"
	crossRod = "cross_rod"
	barRod   = "bar_rod"
)

func (p *plan) takeRods(_ *Result, s *Steering) error {
	var names []string
	switch p.kind {
	case TwoRods:
		names = []string{leftRod, rightRod}
	case BarAndCrossRod:
		names = []string{crossRod}
	default:
		names = []string{tieRod}
	}
	for _, name := range names {
		r, err := newRod(name, s.RodThread, 1)
		if err == nil {
			r.longer, err = crosswise(name, s.LeftThread)
		}
		if err != nil {
			return err
		}
		p.rods = append(p.rods, r)
	}
	if p.described && p.hasBar {
		told := s.BarRod.RodThread
		told.Thread = cmp.Or(told.Thread, s.Thread)
		told.Ends = cmp.Or(told.Ends, s.Ends)
		r, err := newRod(barRod, told, 0)
		if err == nil {
			r.longer, err = p.alongBarRod(told.LeftThread)
		}
		if err != nil {
			return err
		}
		p.rods = append(p.rods, r)
	}
	for i := range p.rods {
		if p.rods[i].Ends == BothRight {
			p.rods[i].longer = r3.Vec{}
		}
	}
	return nil
}

func newRod(name string, told RodThread, share float64) (rod, error) {
	told.Ends = cmp.Or(told.Ends, RightAndLeft)
	told.EndStep = cmp.Or(told.EndStep, "half")
	thread, err := ParseThread(told.Thread)
	if err != nil {
		return rod{}, err
	}
	if err := oneOf("ends", string(told.Ends), string(RightAndLeft), string(BothRight)); err != nil {
		return rod{}, err
	}
	if err := oneOf("end_step", told.EndStep, "half", "whole"); err != nil {
		return rod{}, err
	}
	if !(told.EngagedMm >= 0 && told.EngagedMm < 200) {
		return rod{}, fmt.Errorf("steering: engaged_mm of %g", told.EngagedMm)
	}
	step := 1.0 / turnSteps
	if told.Ends == BothRight {
		step = map[string]float64{"half": 0.5, "whole": 1}[told.EndStep]
	}
	return rod{name: name, RodThread: told, thread: thread, leadMm: told.Ends.leadMm(thread), step: step, share: share}, nil
}

// crosswise is the ω that makes a rod longer that runs from left to right.
func crosswise(name, leftThread string) (r3.Vec, error) {
	right := r3.Vec{X: 1}
	left := r3.Vec{X: -1}
	switch leftThread {
	case "":
		return r3.Vec{}, nil
	case "left":
		return left, nil
	case "right":
		return right, nil
	case "outer":
		switch name {
		case leftRod:
			return left, nil
		case rightRod:
			return right, nil
		}
	case "inner":
		switch name {
		case leftRod:
			return right, nil
		case rightRod:
			return left, nil
		}
	}
	return r3.Vec{}, fmt.Errorf("steering: left_thread of the %s cannot be %q; it is \"left\" or \"right\", of two rods also \"outer\" or \"inner\"", name, leftThread)
}

// alongBarRod is the ω that makes the handlebar's rod longer.
func (p *plan) alongBarRod(leftThread string) (r3.Vec, error) {
	if err := oneOf("bar_rod.left_thread", leftThread, "", "bar", "wheel"); err != nil || leftThread == "" {
		return r3.Vec{}, err
	}
	l := p.linkage(&p.value)
	ends := l.Rods[1]
	toBar := r3.Unit(r3.Sub(ends[1].At, ends[0].At))
	if leftThread == "wheel" {
		return r3.Scale(-1, toBar), nil
	}
	return toBar, nil
}

// topMoves says where the top of the rod moves as it gets longer or shorter:
// "front", "rear", "left", "right"; empty where the left-hand thread's end is not
// known.
func (r *rod) topMoves(longer bool) string {
	top := r3.Cross(r.longer, r3.Vec{Z: 1})
	if !longer {
		top = r3.Scale(-1, top)
	}
	switch {
	case math.Hypot(top.X, top.Y) < 0.5: // no ω, or the rod stands rather than lies
		return ""
	case math.Abs(top.Y) >= math.Abs(top.X):
		return map[bool]string{true: "front", false: "rear"}[top.Y > 0]
	}
	return map[bool]string{true: "right", false: "left"}[top.X > 0]
}

// settingU is the standard uncertainty of a turn, in turns: anywhere within half a
// step, or none where an end clicks into place by halves.
func (r *rod) settingU() float64 {
	if r.Ends == BothRight {
		return 0
	}
	return rectangular(r.step / 2)
}

// around are the two settings next to a wanted turn.
func (r *rod) around(turns float64) [2]float64 {
	below := math.Floor(turns / r.step)
	return [2]float64{below * r.step, (below + 1) * r.step}
}
