package main

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/measure"
	"rimpair/vision"
)

// This file lets advice on tie rods work on invented vehicles: each is an exact
// linkage of its own, not alike on its sides, measured with noise of the stated
// uncertainty, described with arms known to ±2 mm, and turned with a hand's error.

const (
	adjustVehicles = 2000
	developSeed    = 1 // the seed that was looked at while this was written
	armWithinMm    = 2.0
)

// adjustDesign is a kind of trial.
type adjustDesign struct {
	title  string
	uMm    [2]float64 // smallest and largest standard uncertainty of a measurement
	turns  int        // rounds of advice and turning
	limits string
	spoil  func(*measure.Steering)
}

func adjustDesigns() []adjustDesign {
	return []adjustDesign{
		{title: "arm known to ±2 mm, u 0.10 to 0.35 mm", uMm: [2]float64{0.10, 0.35}, turns: 2, limits: "all within target after one turn in ≥ 95 %, after two in ≥ 99 %"},
		{title: "the same, both ends right-hand (half turns)", uMm: [2]float64{0.10, 0.35}, turns: 2,
			spoil: func(s *measure.Steering) {
				s.Ends, s.BarRod = measure.BothRight, nil
			}},
		{title: "the same, one wheel position: u 1.0 mm", uMm: [2]float64{1, 1}, turns: 2},
		{title: "nothing known but the pitch: the trial way", uMm: [2]float64{0.10, 0.35}, turns: 3,
			spoil: func(s *measure.Steering) {
				*s = measure.Steering{Kind: s.Kind, RodThread: s.RodThread}
			}},
	}
}

// adjustTable prints how often the toe is within target after each turn.
func (b *bench) adjustTable() error {
	b.title("Tie-rod advice: %d random vehicles, from 10 mm toe-out to 12 mm toe-in, target 0 to 2 mm toe-in", adjustVehicles)
	for _, seed := range []uint64{developSeed, b.seed} {
		b.printf("\nseed %d%s\n", seed, map[bool]string{true: ", which was looked at while the advice was written"}[seed == developSeed])
		for i, design := range adjustDesigns() {
			if err := b.adjustDesign(design, rand.New(rand.NewPCG(seed, uint64(i)))); err != nil {
				return fmt.Errorf("seed %d: %w", seed, err)
			}
		}
	}
	return nil
}

func (b *bench) adjustDesign(design adjustDesign, random *rand.Rand) error {
	b.printf("%s\n", design.title)
	b.printf(adjustColumns, "", "can be within target", "is after 1 turn", "after 2", "after 3", "in expected interval", "first answers")
	all := newAdjustTally("all")
	tallies := map[measure.SteeringKind]*adjustTally{}
	for _, kind := range adjustKinds {
		tallies[kind] = newAdjustTally(string(kind))
	}
	for n := range adjustVehicles {
		v := newVehicle(random, adjustKinds[n%len(adjustKinds)])
		if err := v.setToe(design, random, tallies[v.kind], all); err != nil {
			return fmt.Errorf("%s, vehicle %d: %w", design.title, n, err)
		}
	}
	for _, kind := range adjustKinds {
		b.adjustRow(tallies[kind], design.turns)
	}
	b.adjustRow(all, design.turns)
	if design.limits != "" {
		b.limits(design.limits)
	}
	return nil
}

const adjustColumns = "  %-18s %-21s %-18s %-18s %-18s %-21s %s\n"

var adjustKinds = []measure.SteeringKind{measure.OneRod, measure.TwoRods, measure.BarAndCrossRod}

// adjustTally counts outcomes.
type adjustTally struct {
	name             string
	n                int
	reachable        int    // within target with the steps that its rods allow, were all known
	within           [3]int // after each turn
	expected, inside int
	answers          map[string]int // to the first measurement
}

func newAdjustTally(name string) *adjustTally {
	return &adjustTally{name: name, answers: map[string]int{}}
}

func (b *bench) adjustRow(y *adjustTally, turns int) {
	after := [3]string{"-", "-", "-"}
	for round := range turns {
		after[round] = percent(y.within[round], y.n)
	}
	answers := strings.TrimSuffix(strings.TrimPrefix(fmt.Sprint(y.answers), "map["), "]")
	b.printf(adjustColumns, y.name, percent(y.reachable, y.n), after[0], after[1], after[2], percent(y.inside, y.expected), answers)
}

// vehicle is what is true of one.
type vehicle struct {
	kind      measure.SteeringKind
	linkage   measure.Linkage
	lengthsMm []float64
	rimMm     float64
	camberDeg [2]float64
	target    measure.Target
	told      measure.Steering
}

// newVehicle draws a vehicle and what its people say of it.
func newVehicle(random *rand.Rand, kind measure.SteeringKind) *vehicle {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*random.Float64() }
	pick := func(words ...string) string { return words[random.IntN(len(words))] }
	v := &vehicle{kind: kind, rimMm: between(315, 425), target: measure.DefaultTarget()}
	ahead, rods := -1.0, "behind"
	if random.IntN(2) == 0 {
		ahead, rods = 1, "in_front"
	}
	armMm, inwardDeg := between(60, 110), -ahead*between(0, 25)
	kingpinsMm, inclinationDeg, casterDeg := between(480, 660), between(2, 16), between(0, 15)
	var ends [2]r3.Vec
	for i, out := range [2]float64{-1, 1} {
		foot := r3.Vec{X: out * kingpinsMm / 2, Z: between(-4, 4)}
		v.linkage.Pivots[i] = measure.Pivot{Foot: foot, Axis: r3.Unit(r3.Vec{
			X: -out * math.Tan(rad(inclinationDeg+between(-0.5, 0.5))), Y: -math.Tan(rad(casterDeg + between(-0.5, 0.5))), Z: 1,
		})}
		v.camberDeg[i] = between(-4, 1)
		camber := rad(v.camberDeg[i])
		v.linkage.Axles[i] = r3.Vec{X: math.Cos(camber), Z: -out * math.Sin(camber)}
		arm, angle := armMm+between(-0.5, 0.5), rad(inwardDeg+between(-1, 1))
		ends[i] = r3.Add(foot, r3.Vec{X: -out * arm * math.Sin(angle), Y: ahead * arm * math.Cos(angle), Z: between(-4, 4)})
	}
	v.told = measure.Steering{
		Kind: kind, Rods: rods,
		RodThread: measure.RodThread{Thread: pick("M5", "M6", "M8", "1/4-28 UNF", "5/16-24 UNF"), LeftThread: "left"},
		ArmMm:     &measure.Known{Value: armMm + between(-armWithinMm, armWithinMm), PlusMinus: armWithinMm},
	}
	// Half of the people tell the arm alone, the others what a bevel and a rule say.
	tell := func(k **measure.Known, value, within float64) {
		*k = &measure.Known{Value: value + between(-within, within), PlusMinus: within}
	}
	tellsAll := random.IntN(2) == 0
	if tellsAll {
		tell(&v.told.ArmInwardDeg, inwardDeg, 5)
		tell(&v.told.KingpinDistanceMm, kingpinsMm, 5)
		tell(&v.told.KingpinInclinationDeg, inclinationDeg, 3)
		tell(&v.told.CasterDeg, casterDeg, 3)
	}
	left, right := measure.RodEnd{Body: measure.LeftCarrier, At: ends[0]}, measure.RodEnd{Body: measure.RightCarrier, At: ends[1]}
	bar := func(at r3.Vec) measure.RodEnd { return measure.RodEnd{Body: measure.Handlebar, At: at} }
	v.linkage.Pivots[measure.Handlebar] = measure.Pivot{Axis: r3.Vec{Z: 1}}
	switch kind {
	case measure.TwoRods:
		apart, forward, above := between(30, 90), between(-25, 25), between(-18, 18)
		inner := r3.Vec{Y: ends[0].Y + forward, Z: above}
		half := r3.Vec{X: apart / 2}
		v.linkage.Rods = []measure.Rod{{left, bar(r3.Sub(inner, half))}, {right, bar(r3.Add(inner, half))}}
		if tellsAll {
			v.told.InnerEnds = &measure.InnerEnds{}
			tell(&v.told.InnerEnds.ApartMm, apart, 3)
			tell(&v.told.InnerEnds.ForwardMm, forward, 5)
			tell(&v.told.InnerEnds.AboveMm, above, 5)
		}
	case measure.BarAndCrossRod:
		toMiddle, forward, above := between(150, 250), between(-40, 40), between(-40, 40)
		v.linkage.Rods = []measure.Rod{{left, right}, {left, bar(r3.Add(ends[0], r3.Vec{X: toMiddle, Y: forward, Z: above}))}}
		if tellsAll {
			v.told.BarRod = &measure.BarRod{Wheel: "left"}
			tell(&v.told.BarRod.ToMiddleMm, toMiddle, 10)
			tell(&v.told.BarRod.ForwardMm, forward, 10)
			tell(&v.told.BarRod.AboveMm, above, 10)
		}
	default:
		v.linkage.Rods = []measure.Rod{{left, right}}
	}
	return v
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }

// setToe advises, turns and measures again, and counts what is then true.
func (v *vehicle) setToe(design adjustDesign, random *rand.Rand, tallies ...*adjustTally) error {
	start := -10 + 22*random.Float64()
	pose, err := v.linkage.Pose(math.Asin(start/(2*v.rimMm)), 0, 0)
	if err != nil {
		return err
	}
	v.lengthsMm = v.linkage.LengthsMm(pose)
	if design.spoil != nil {
		design.spoil(&v.told)
	}
	u := design.uMm[0] + (design.uMm[1]-design.uMm[0])*random.Float64()
	reachable, err := v.reachable()
	if err != nil {
		return err
	}
	for _, y := range tallies {
		y.n++
		y.reachable += reachable
	}
	for round := range design.turns {
		toe, err := v.toeMm()
		if err != nil {
			return err
		}
		found := v.measured(toe, u, random)
		advice, err := measure.AdviseRods(found, v.told)
		var refusal *vision.Refusal
		if errors.As(err, &refusal) {
			advice = &measure.RodAdvice{Answer: refusal.Code}
		} else if err != nil {
			return err
		}
		if advice.Answer == measure.AnswerTurn || advice.Answer == measure.AnswerLearn {
			v.turn(advice.Turns, random)
			v.told.Record = append(v.told.Record, measure.RecordEntry{
				ToeMm:             measure.Estimate{Value: found.TotalToeMm.Value, StandardUncertainty: u},
				ThenLongerByTurns: meanTurns(advice.Turns),
			})
		}
		if toe, err = v.toeMm(); err != nil {
			return err
		}
		for _, y := range tallies {
			y.count(round, toe, v.target, advice)
		}
		// Whoever is told to leave it, or to measure better first, turns nothing more.
		if advice.Answer != measure.AnswerTurn && advice.Answer != measure.AnswerLearn {
			for later := round + 1; later < design.turns; later++ {
				for _, y := range tallies {
					y.within[later] += within(toe, v.target)
				}
			}
			return nil
		}
	}
	return nil
}

// refusedRecord is the code of a record that the described linkage contradicts:
// here it never does, but by chance.
const refusedRecord = "turns_disagree"

func (y *adjustTally) count(round int, toe float64, target measure.Target, a *measure.RodAdvice) {
	y.within[round] += within(toe, target)
	if round == 0 || a.Answer == refusedRecord {
		y.answers[a.Answer]++
	}
	if a.Answer == measure.AnswerTurn {
		y.expected++
		if covers(a.Expected.ToeMm, toe) {
			y.inside++
		}
	}
}

func within(toe float64, target measure.Target) int {
	if target.LowMm <= toe && toe <= target.HighMm {
		return 1
	}
	return 0
}

// reachable is 1 where whole steps of the rods that set the toe lead into the target.
func (v *vehicle) reachable() (int, error) {
	if v.told.Ends != measure.BothRight {
		return 1, nil // steps are finer than any target
	}
	thread, err := measure.ParseThread(v.told.Thread)
	if err != nil {
		return 0, err
	}
	start := slices.Clone(v.lengthsMm)
	defer func() { v.lengthsMm = start }()
	const most = 40 // half turns: 16 mm of rod and more
	for steps := -most; steps <= most; steps++ {
		v.lengthsMm = slices.Clone(start)
		v.lengthsMm[0] += float64(steps) * thread.PitchMm / 2
		if v.kind == measure.TwoRods { // both alike, or one a step farther
			v.lengthsMm[0] = start[0] + math.Floor(float64(steps)/2)*thread.PitchMm/2
			v.lengthsMm[1] = start[1] + math.Ceil(float64(steps)/2)*thread.PitchMm/2
		}
		if toe, err := v.toeMm(); err == nil && within(toe, v.target) == 1 {
			return 1, nil
		}
	}
	return 0, nil
}

// toeMm is the true total toe with the handlebar, or the wheels together, straight.
func (v *vehicle) toeMm() (float64, error) {
	pose, err := v.linkage.Solve(v.lengthsMm, measure.PoseRad{})
	return 2 * v.rimMm * math.Sin(v.linkage.ToeRad(pose)), err
}

// measured is a measurement with noise of the uncertainty that it states.
func (v *vehicle) measured(toe, u float64, random *rand.Rand) measure.Result {
	noisy := func(value, u float64) measure.Quantity {
		value += u * random.NormFloat64()
		return measure.Quantity{Value: value, StandardUncertainty: u, Low95: value - 1.96*u, High95: value + 1.96*u}
	}
	r := measure.Result{TotalToeMm: noisy(toe, u), TrackMm: noisy(v.linkage.Pivots[1].Foot.X-v.linkage.Pivots[0].Foot.X+120, 40)}
	for side, camber := range v.camberDeg {
		r.Wheels = append(r.Wheels, measure.WheelResult{Side: measure.Side(side).String(), RimDiameterMm: noisy(v.rimMm, 0.4), CamberDeg: noisy(camber, 0.2)})
	}
	return r
}

// turn makes the rods longer as a person does: within half of the smallest step, or
// by whole halves of a turn where an end comes off. The rods are in the linkage's order.
func (v *vehicle) turn(turns []measure.RodTurn, random *rand.Rand) {
	const withinTurns = 1.0 / 48
	for i, t := range turns {
		v.lengthsMm[i] += t.SetMm
		if t.Turns != 0 && t.Ends != measure.BothRight {
			v.lengthsMm[i] += withinTurns * (2*random.Float64() - 1) * t.SetMm / signed(t)
		}
	}
}

func signed(t measure.RodTurn) float64 {
	if t.Longer {
		return t.Turns
	}
	return -t.Turns
}

// meanTurns of the rods that set the toe: both of two, and not the handlebar's.
func meanTurns(turns []measure.RodTurn) float64 {
	sum, n := 0.0, 0.0
	for _, t := range turns {
		if t.Rod != "bar_rod" {
			sum += signed(t)
			n++
		}
	}
	return sum / n
}
