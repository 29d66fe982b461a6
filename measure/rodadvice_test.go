package measure

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"rimpair/vision"
)

// rodResult is an invented measurement.
func rodResult(toeMm, u float64) Result {
	wheel := func(side string) WheelResult {
		return WheelResult{Side: side, ToeDeg: quantity(0, 0.01), CamberDeg: quantity(-2, 0.1), RimDiameterMm: quantity(420, 0.4), RimSeen: true}
	}
	return Result{
		TotalToeMm: quantity(toeMm, u), Wheels: []WheelResult{wheel("left"), wheel("right")}, TrackMm: quantity(720, 0.5),
		Advice: []Advice{
			{Action: "half_turn", EnglishText: "Turn the wheels.", PredictedHalfWidthMm: 0.3}, {Action: "photo", EnglishText: "A photo.", PredictedHalfWidthMm: 0.5},
			{Action: "photo", EnglishText: "Another.", PredictedHalfWidthMm: 0.6}, {Action: "photo", EnglishText: "A fourth.", PredictedHalfWidthMm: 0.7},
		},
	}
}

// square is the plainest steering: one M6 rod behind upright kingpins, arms of 70 mm
// square to it.
func square() Steering {
	return Steering{
		Rods: "behind", RodThread: RodThread{Thread: "M6", LeftThread: "left"},
		ArmMm: &Known{Value: 70}, ArmInwardDeg: &Known{}, KingpinInclinationDeg: &Known{}, CasterDeg: &Known{},
	}
}

func advise(t *testing.T, toeMm, u float64, s Steering) *RodAdvice {
	t.Helper()
	a, err := AdviseRods(rodResult(toeMm, u), s)
	require.NoError(t, err)
	return a
}

// By hand, with toe = D · longer / arm: a turn is 2 mm of rod, 420 · 2/70 = 12 mm of toe.
func TestAdviceByHand(t *testing.T) {
	a := advise(t, 5, 0.1, square())
	require.Equal(t, AnswerTurn, a.Answer)
	require.Equal(t, ReasonOneTurn, a.Reason)
	require.Len(t, a.Turns, 1)
	turn := a.Turns[0]
	// The rule is exact to half the square of the arms' turn of 0.8°, 1e-4.
	assert.InDelta(t, 12, a.MmPerTurn.Value, 12e-4)
	assert.InDelta(t, -4*70.0/420, turn.ChangeMm.Value, 1e-4)
	assert.False(t, turn.Longer)
	assert.InDelta(t, 1.0/3, turn.Turns, 1e-12)
	assert.InDelta(t, 2, turn.Flats, 1e-12)
	assert.InDelta(t, 120, turn.Degrees, 1e-9)
	assert.InDelta(t, -2.0/3, turn.SetMm, 1e-12)
	assert.Equal(t, "rear", turn.TopMoves)
	assert.InDelta(t, 1, a.Expected.ToeMm.Value, 0.01)
	// u² of the measured toe, of the arm (2 mm/√3 in 70 mm of 4 mm, and the arm's angle)
	// and of a setting within 1/48 turn.
	arm := 4 * 2 / math.Sqrt(3) / 70
	setting := 12 / 48.0 / math.Sqrt(3)
	assert.InDelta(t, math.Sqrt(0.01+arm*arm+setting*setting), a.Expected.ToeMm.StandardUncertainty, 0.005)
	share := 0.0
	for _, part := range a.Expected.Parts {
		share += part.Share
	}
	assert.InDelta(t, 1, share, 1e-12)
}

func TestWhichWayToTurn(t *testing.T) {
	bar := &BarRod{Wheel: "left", ToMiddleMm: &Known{Value: 250}, ForwardMm: &Known{Value: 20}}
	along := &BarRod{Wheel: "right", ArmInwardDeg: &Known{Value: 90}, ToMiddleMm: &Known{Value: 30}, ForwardMm: &Known{Value: -400}}
	for _, test := range []struct {
		name       string
		change     func(*Steering)
		toeMm      float64
		rod        int
		longer     bool
		top        string
		offToRight float64
	}{
		// Rods behind the kingpins push the fronts together as they get longer. With the
		// right-hand thread at the right end one looks from the middle to the right, the
		// front is to the left of the one who looks: unscrewing, against the clock, moves the top to the front.
		{"toe-out, behind", nil, -3, 0, true, "front", 0},
		{"toe-in, behind", nil, 5, 0, false, "rear", 0},
		{"left thread at the right end", func(s *Steering) { s.LeftThread = "right" }, -3, 0, true, "rear", 0},
		{"left thread not known", func(s *Steering) { s.LeftThread = "" }, -3, 0, true, "", 0},
		{"an end that comes off", func(s *Steering) { s.Ends = BothRight }, -3, 0, true, "", 0},
		{"in front", func(s *Steering) { s.Rods = "in_front" }, -3, 0, false, "rear", 0},
		{"two rods alike", func(s *Steering) { s.Kind = TwoRods }, -3, 1, true, "front", 0},
		{"two rods mirrored, left", func(s *Steering) { s.Kind, s.LeftThread = TwoRods, "outer" }, -3, 0, true, "front", 0},
		{"two rods mirrored, right", func(s *Steering) { s.Kind, s.LeftThread = TwoRods, "outer" }, -3, 1, true, "rear", 0},
		{"two rods mirrored inward, right", func(s *Steering) { s.Kind, s.LeftThread = TwoRods, "inner" }, -3, 1, true, "front", 0},
		{"cross rod", func(s *Steering) { s.Kind = BarAndCrossRod }, -3, 0, true, "front", 0},
		// The wheels point to the right: the left wheel's arm behind its kingpin stands too
		// far left and has to come to the middle, where the rod leads: shorter.
		{"rod of the bar across", func(s *Steering) { s.Kind, s.BarRod = BarAndCrossRod, bar; bar.LeftThread = "wheel" }, 1, 1, false, "rear", 2},
		{"rod of the bar across, other way", func(s *Steering) { s.Kind, s.BarRod = BarAndCrossRod, bar; bar.LeftThread = "bar" }, 1, 1, false, "front", 2},
		// Its arm points inward and has to come back to where the rod leads: shorter. One
		// who looks to the right-hand thread at the bar, rearward, screws it in with the clock: the top goes to his right, the vehicle's left.
		{"rod of the bar lengthwise", func(s *Steering) { s.Kind, s.BarRod = BarAndCrossRod, along; along.LeftThread = "wheel" }, 1, 1, false, "left", 2},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := square()
			if test.change != nil {
				test.change(&s)
			}
			if test.offToRight != 0 {
				s.WheelsOffDeg = &Known{Value: test.offToRight}
			}
			a := advise(t, test.toeMm, 0.1, s)
			require.Equal(t, AnswerTurn, a.Answer, a.Reason)
			turn := a.Turns[test.rod]
			assert.Equal(t, test.longer, turn.Longer)
			assert.Equal(t, test.top, turn.TopMoves)
		})
	}
}

func TestTwoRodsKeepTheCentre(t *testing.T) {
	s := square()
	s.Kind = TwoRods
	m := rodResult(5, 0.1)
	m.Wheels[Left].CamberDeg.Value = -1.5 // which makes the two sides a little unlike
	a, err := AdviseRods(m, s)
	require.NoError(t, err)
	require.Len(t, a.Turns, 2)
	assert.Equal(t, a.Turns[0].Turns, a.Turns[1].Turns)
	assert.Equal(t, a.Turns[0].Longer, a.Turns[1].Longer)
	assert.Nil(t, a.Expected.OffDeg, "nothing is known of it")
	// Each rod moves its own wheel by D · longer / arm, together twice as much as one rod does.
	// Second order of the arms' turn of 1.6° and of the rods' slant.
	assert.InDelta(t, 24, a.MmPerTurn.Value, 0.02)
	assert.InDelta(t, -4*35.0/420, a.Turns[0].ChangeMm.Value, 0.002)
}

// Two rods with the wheels pointing 1° to the right: each wheel has to come 1° to
// the left, which is 70 mm · sin 1° = 1.222 mm of each rod, opposite ways.
func TestSplitThatCentres(t *testing.T) {
	s := square()
	s.Kind = TwoRods
	s.InnerEnds = &InnerEnds{ApartMm: &Known{Value: 60}, ForwardMm: &Known{Value: 0}, AboveMm: &Known{Value: 0}, AxisForwardMm: &Known{Value: 70}}
	byWheels, byBar := s, s
	byWheels.WheelsOffDeg = &Known{Value: 1}
	unsure := s
	unsure.WheelsOffDeg = &Known{Value: 1, PlusMinus: 1} // one that may be none is left alone
	assert.Equal(t, AnswerLeave, advise(t, 1, 0.1, unsure).Answer)
	// Inner ends on an arm of 70 mm too, behind its axis: bar and wheels turn alike. With the wheels
	// straight ahead the bar then stands 1° to the left.
	byBar.BarOffDeg = &Known{Value: -1}
	for name, s := range map[string]Steering{"wheels": byWheels, "bar": byBar} {
		a := advise(t, 1, 0.1, s)
		require.Equal(t, AnswerTurn, a.Answer, name)
		// To the left: the arms behind go right. The left rod, to the right of its arm, gets shorter.
		// Second order of 1°, 70 mm · 1.5e-4.
		assert.InDelta(t, -1.222, a.Turns[0].ChangeMm.Value, 0.011, name)
		assert.InDelta(t, 1.222, a.Turns[1].ChangeMm.Value, 0.011, name)
		// Arms alike: the handlebar's angle is the wheels' to second order.
		assert.InDelta(t, 1, a.OffDeg.Value, 0.01, name)
		assert.InDelta(t, 0.5/math.Sqrt(3), a.OffDeg.StandardUncertainty, 0.005, name)
		assert.InDelta(t, 0, a.Expected.OffDeg.Value, 0.068, "%s: a step of both rods is 1/12 mm in 70", name)
		assert.InDelta(t, 1, a.Expected.ToeMm.Value, 0.25, name)
	}
}

func TestAnswers(t *testing.T) {
	with := func(change func(*Steering)) Steering {
		s := square()
		change(&s)
		return s
	}
	pitchOnly := Steering{RodThread: RodThread{Thread: "1 mm"}}
	for _, test := range []struct {
		name           string
		toeMm, u       float64
		s              Steering
		answer, reason string
	}{
		{"on the aim", 1, 0.3, square(), AnswerLeave, ReasonWithin},
		{"inside by chance only", 1.9, 0.3, square(), AnswerTurn, ReasonOneTurn},
		{"surely inside", 1.6, 0.1, square(), AnswerLeave, ReasonWithin},
		{"on the aim, hardly measured", 1, 1, square(), AnswerMeasure, ReasonToe},
		{"off, hardly measured", 2.9, 1, square(), AnswerMeasure, ReasonToe},
		{"off by more than the interval", 3, 1, square(), AnswerTurn, ReasonStep},
		{"far off, hardly measured", 9, 1, square(), AnswerTurn, ReasonStep},
		{"the arm is guessed", 30, 0.1, with(func(s *Steering) { s.ArmMm.PlusMinus = 15 }), AnswerTurn, ReasonStep},
		{"sprung", 5, 0.1, with(func(s *Steering) { s.Sprung = true }), AnswerMeasure, ReasonRider},
		{"sprung, with the rider on", 5, 0.1, with(func(s *Steering) { s.Sprung, s.RiderOn = true, true }), AnswerTurn, ReasonOneTurn},
		{"pitch alone", 5, 0.1, pitchOnly, AnswerLearn, ReasonPlace},
		{"pitch alone, inside", 1.9, 0.1, pitchOnly, AnswerLeave, ReasonWithin},
		{"pitch alone, hardly measured", 1.9, 1, pitchOnly, AnswerMeasure, ReasonToe},
		{"pitch and a record that says nothing", 5, 0.1, with(func(s *Steering) { s.ArmMm, s.Record = nil, []RecordEntry{{Estimate{5.1, 0.1}, 1.0 / 24}} }), AnswerLearn, ReasonUnclear},
		{"no arm", 5, 0.1, with(func(s *Steering) { s.ArmMm = nil }), AnswerLearn, ReasonArm},
		{"both right-hand, half turns of 3 mm toe", 5, 0.1, with(func(s *Steering) { s.Ends = BothRight }), AnswerTurn, ReasonStep},
		{"both right-hand, the next step is farther", 2.3, 0.1, with(func(s *Steering) { s.Ends = BothRight }), AnswerLimit, ReasonCoarseSteps},
		{"both right-hand, the edge is the best", 1.95, 0.1, with(func(s *Steering) { s.Ends = BothRight }), AnswerLeave, ReasonFiner},
		{"little thread", -11, 0.1, with(func(s *Steering) { s.EngagedMm = 6.5 }), AnswerLimit, ReasonEngagement},
		{"little thread, but screwed in", 13, 0.1, with(func(s *Steering) { s.EngagedMm = 6.5 }), AnswerTurn, ReasonOneTurn},
		{"another target", 5, 0.1, with(func(s *Steering) { s.Target = &Target{AimMm: 5, LowMm: 4, HighMm: 6} }), AnswerLeave, ReasonWithin},
	} {
		t.Run(test.name, func(t *testing.T) {
			a := advise(t, test.toeMm, test.u, test.s)
			assert.Equal(t, []string{test.answer, test.reason}, []string{a.Answer, a.Reason})
			switch test.answer {
			case AnswerLeave, AnswerMeasure:
				assert.Empty(t, a.Turns)
				assert.Nil(t, a.Expected)
			case AnswerTurn:
				assert.Less(t, math.Abs(a.Expected.ToeMm.Value-a.Target.AimMm), math.Abs(test.toeMm-a.Target.AimMm))
			}
			if test.reason == ReasonToe {
				assert.Len(t, a.MeasureFirst, 3)
				assert.Equal(t, 1.0, a.NeededHalfWidthMm)
			}
		})
	}
}

// The trial way: half a turn tells what a turn does.
func TestLearningFromTheRecord(t *testing.T) {
	s := Steering{RodThread: RodThread{Thread: "M6"}}
	s.Record = []RecordEntry{{ToeMm: Estimate{5, 0.1}, ThenLongerByTurns: 0.5}}
	a := advise(t, 11, 0.1, s)
	require.Equal(t, AnswerTurn, a.Answer)
	assert.Equal(t, []string{"record"}, a.MmPerTurnFrom)
	// By hand: (11 − 5)/0.5, with u of two states and of a setting within 1/48 turn.
	assert.InDelta(t, 12, a.MmPerTurn.Value, 1e-9)
	setting := 12 / 48.0 / math.Sqrt(3)
	assert.InDelta(t, math.Sqrt(0.01+0.01+setting*setting)/0.5, a.MmPerTurn.StandardUncertainty, 1e-9)
	assert.False(t, a.Turns[0].Longer)
	assert.InDelta(t, 20.0/24, a.Turns[0].Turns, 1e-9)
	// The second state's error e shifts the toe by e and the slope by 2e: after −10/12
	// turn the toe is off by e − 2e·10/12, the first state's by +2e'·10/12.
	n := 10.0 / 12
	want := math.Sqrt(math.Pow(0.1*(1-2*n), 2) + math.Pow(0.2*n, 2) + math.Pow(2*n*setting, 2) + setting*setting)
	assert.InDelta(t, want, a.Expected.ToeMm.StandardUncertainty, 1e-9)
}

// Three states on a line, by a straight-line fit by hand: equal u, no turn's
// uncertainty (ends that come off by halves), turns 0, 1, 2: slope (y3 − y1)/2, u/√2.
func TestRecordOfThreeStates(t *testing.T) {
	s := Steering{RodThread: RodThread{Thread: "M6", Ends: BothRight}}
	s.Record = []RecordEntry{{Estimate{1, 0.2}, 1}, {Estimate{7.3, 0.2}, 1}}
	a := advise(t, 13, 0.2, s)
	assert.InDelta(t, 6, a.MmPerTurn.Value, 1e-9)
	assert.InDelta(t, 0.2/math.Sqrt2, a.MmPerTurn.StandardUncertainty, 1e-9)
}

func TestBlendingByVariances(t *testing.T) {
	alone := advise(t, 5, 0.1, square())
	s := square()
	s.MmPerTurn = &Estimate{12.3, 0.25}
	both := advise(t, 5, 0.1, s)
	assert.Equal(t, []string{"linkage", "learned"}, both.MmPerTurnFrom)
	w1, w2 := 1/math.Pow(alone.MmPerTurn.StandardUncertainty, 2), 1/math.Pow(0.25, 2)
	assert.InDelta(t, (w1*alone.MmPerTurn.Value+w2*12.3)/(w1+w2), both.MmPerTurn.Value, 1e-9)
	assert.InDelta(t, 1/math.Sqrt(w1+w2), both.MmPerTurn.StandardUncertainty, 1e-9)
}

func TestContradictionsAreRefused(t *testing.T) {
	wrongWay := square()
	wrongWay.Rods = "in_front" // they are behind: the record went the other way
	wrongWay.Record = []RecordEntry{{ToeMm: Estimate{-1, 0.1}, ThenLongerByTurns: 0.5}}
	_, err := AdviseRods(rodResult(5, 0.1), wrongWay)
	var refusal *vision.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, "turns_disagree", refusal.Code)

	straight := square() // both arms in line with the rod, which cannot turn them
	straight.ArmInwardDeg = &Known{Value: 90}
	_, err = AdviseRods(rodResult(5, 0.1), straight)
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, "steering_impossible", refusal.Code)
}

func TestDescriptionsThatAreNone(t *testing.T) {
	for words, spoil := range map[string]func(*Steering){
		"no rod end's thread": func(s *Steering) { s.Thread = "" },
		"kind":                func(s *Steering) { s.Kind = "three_rods" },
		"rods":                func(s *Steering) { s.Rods = "below" },
		"ends":                func(s *Steering) { s.Ends = "left" },
		"end_step":            func(s *Steering) { s.EndStep = "third" },
		"left_thread":         func(s *Steering) { s.LeftThread = "outer" },
		"schema":              func(s *Steering) { s.Schema = "rimpair/steering/2" },
		"low < aim < high":    func(s *Steering) { s.Target = &Target{AimMm: 3, LowMm: 0, HighMm: 2} },
		"engaged_mm":          func(s *Steering) { s.EngagedMm = -1 },
		"arm_mm":              func(s *Steering) { s.ArmMm = &Known{Value: math.NaN()} },
		"no steering arm":     func(s *Steering) { s.ArmMm = &Known{Value: 7} },
		"inner_ends":          func(s *Steering) { s.InnerEnds = &InnerEnds{} },
		"bar_rod":             func(s *Steering) { s.BarRod = &BarRod{} },
		"to_middle_mm":        func(s *Steering) { s.Kind, s.BarRod = BarAndCrossRod, &BarRod{Wheel: "left"} },
		"to centre it":        func(s *Steering) { s.WheelsOffDeg = &Known{Value: 1} },
		"axis_forward_mm":     func(s *Steering) { s.Kind, s.BarOffDeg = TwoRods, &Known{Value: 1} },
		"not both":            func(s *Steering) { s.WheelsOffDeg, s.BarOffDeg = &Known{Value: 1}, &Known{Value: 1} },
		"toe_mm_per_turn":     func(s *Steering) { s.MmPerTurn = &Estimate{Value: 12} },
		"what was turned":     func(s *Steering) { s.Record = []RecordEntry{{ToeMm: Estimate{1, 0.1}}} },
		"no toe with":         func(s *Steering) { s.Record = []RecordEntry{{ThenLongerByTurns: 1}} },
		"do not settle":       func(s *Steering) { s.Record = []RecordEntry{{Estimate{1, 0.1}, 1e-9}} },
	} {
		s := square()
		spoil(&s)
		_, err := AdviseRods(rodResult(5, 0.1), s)
		assert.ErrorContains(t, err, words)
	}
	_, err := AdviseRods(Result{}, square())
	assert.ErrorContains(t, err, "no whole measurement")
}

// drawSteering is a described steering of any kind.
func drawSteering(t *rapid.T) Steering {
	pick := func(what string, words ...string) string { return rapid.SampledFrom(words).Draw(t, what) }
	known := func(lo, hi float64) *Known { return &Known{Value: rapid.Float64Range(lo, hi).Draw(t, "figure")} }
	s := Steering{
		Kind: SteeringKind(pick("kind", string(OneRod), string(TwoRods), string(BarAndCrossRod))), Rods: pick("rods", "behind", "in_front"),
		RodThread: RodThread{Thread: pick("thread", "M5", "M6", "M8", "5/16-24 UNF", "1.25 mm")},
		ArmMm:     known(55, 120), ArmInwardDeg: known(-20, 20), KingpinDistanceMm: known(450, 700), KingpinInclinationDeg: known(0, 18), CasterDeg: known(0, 15),
	}
	switch s.Kind {
	case TwoRods:
		s.InnerEnds = &InnerEnds{ApartMm: known(30, 80), ForwardMm: known(-20, 20), AboveMm: known(-20, 20)}
		s.WheelsOffDeg = known(-2, 2)
	case BarAndCrossRod:
		s.BarRod = &BarRod{Wheel: pick("wheel", "left", "right"), ToMiddleMm: known(150, 280), ForwardMm: known(-30, 30), AboveMm: known(-40, 40)}
		s.WheelsOffDeg = known(-2, 2)
	}
	return s
}

// The exact turns, put into the exact linkage, give the aim and the centre.
func TestExactTurnsReachTheAim(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, s := rodResult(rapid.Float64Range(-12, 14).Draw(t, "toe"), 0.1), drawSteering(t)
		p, err := newPlan(&m, &s)
		if err != nil {
			t.Fatal(err)
		}
		r, err := p.response()
		if err != nil {
			t.Fatal(err)
		}
		turns, err := p.turnsFor(r, &p.value)
		if err != nil {
			t.Fatal(err)
		}
		after, err := p.predict(r, turns)
		if err != nil {
			t.Fatal(err)
		}
		// closedMm over the shortest arm, times the rim's diameter.
		if math.Abs(after.toeMm-p.target.AimMm) > 1e-6 || math.Abs(after.offDeg) > 1e-6 {
			t.Fatalf("toe %g, off %g°", after.toeMm, after.offDeg)
		}
	})
}

// The interval of the expected toe against the propagation of whole distributions
// (JCGM 101): arms, angles and rims drawn within what was told, the measured toe and the
// setting too, each draw's linkage solved exactly. Four designs of 2,000 draws each, seed fixed.
func TestExpectedToeAgainstMonteCarlo(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 101))
	even := func(k *Known, within float64) *Known {
		return &Known{Value: k.Value + within*(2*random.Float64()-1)}
	}
	for i, kind := range []SteeringKind{OneRod, TwoRods, BarAndCrossRod, OneRod} {
		s := square()
		s.Kind = kind
		s.Rods = []string{"behind", "in_front"}[i%2]
		s.ArmInwardDeg = &Known{Value: 12}
		s.KingpinDistanceMm, s.KingpinInclinationDeg, s.CasterDeg = &Known{Value: 560}, &Known{Value: 12}, &Known{Value: 8}
		m := rodResult(-9+6*float64(i), 0.25)
		a, err := AdviseRods(m, s)
		require.NoError(t, err)
		require.NotNil(t, a.Expected)
		longer := make([]float64, len(a.Turns))
		const draws = 2000
		inside, sum, squares := 0, 0.0, 0.0
		for range draws {
			actual := s
			actual.ArmMm, actual.ArmInwardDeg = even(s.ArmMm, 2), even(s.ArmInwardDeg, 5)
			actual.KingpinDistanceMm, actual.KingpinInclinationDeg, actual.CasterDeg = even(s.KingpinDistanceMm, 5), even(s.KingpinInclinationDeg, 3), even(s.CasterDeg, 3)
			if kind == TwoRods {
				actual.InnerEnds = &InnerEnds{ApartMm: even(&Known{Value: 60}, 40), ForwardMm: even(&Known{}, 30), AboveMm: even(&Known{}, 20)}
			}
			measured := rodResult(a.ToeMm.Value+0.25*random.NormFloat64(), 0.25)
			diameter := 420 + 0.4*random.NormFloat64()
			for w := range measured.Wheels {
				measured.Wheels[w].RimDiameterMm = quantity(diameter, 0.4)
			}
			p, err := newPlan(&measured, &actual)
			require.NoError(t, err)
			for k, turn := range a.Turns {
				longer[k] = turn.SetMm + (2*random.Float64()-1)/48*p.rods[k].leadMm
			}
			toe, _, err := p.after(&p.value, longer)
			require.NoError(t, err)
			sum += toe
			squares += toe * toe
			if a.Expected.ToeMm.Low95 <= toe && toe <= a.Expected.ToeMm.High95 {
				inside++
			}
		}
		mean := sum / draws
		u := math.Sqrt(squares/draws - mean*mean)
		// Standard error of the mean u/√2000, of a standard deviation 1.6 %, of coverage 0.5 %; each times three,
		// and what the linear propagation leaves out: a twentieth of u.
		name := fmt.Sprintf("design %d: toe %.2f to %.3f, u %.3f, by Monte Carlo %.3f, u %.3f", i, a.ToeMm.Value, a.Expected.ToeMm.Value, a.Expected.ToeMm.StandardUncertainty, mean, u)
		t.Log(name)
		assert.InDelta(t, mean, a.Expected.ToeMm.Value, u*(3/math.Sqrt(draws)+0.05), name)
		assert.InDelta(t, 1, a.Expected.ToeMm.StandardUncertainty/u, 0.05+0.05, name)
		assert.InDelta(t, 0.95, float64(inside)/draws, 0.02, name)
	}
}

// Whatever is told, the answer is an error or an advice of finite numbers that leads
// nearer to the aim.
func TestAnyDescriptionIsAnswered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		wild := func(what string) *Known {
			if rapid.Bool().Draw(t, what+" told") {
				return nil
			}
			return &Known{Value: rapid.Float64Range(-300, 300).Draw(t, what), PlusMinus: rapid.Float64Range(0, 60).Draw(t, what)}
		}
		pick := func(what string, words ...string) string { return rapid.SampledFrom(words).Draw(t, what) }
		s := Steering{
			Kind: SteeringKind(pick("kind", "", "one_rod", "two_rods", "bar_and_cross_rod")), Rods: pick("rods", "", "behind", "in_front"),
			RodThread: RodThread{Thread: pick("thread", "M6", "1 mm"), Ends: RodEnds(pick("ends", "", "both_right")), LeftThread: pick("left thread", "", "left", "right"), EngagedMm: 9},
			ArmMm:     wild("arm"), ArmInwardDeg: wild("inward"), KingpinDistanceMm: wild("kingpins"), KingpinInclinationDeg: wild("inclination"), CasterDeg: wild("caster"),
		}
		switch s.Kind {
		case TwoRods:
			s.InnerEnds = &InnerEnds{ApartMm: wild("apart"), ForwardMm: wild("forward"), AboveMm: wild("above"), AxisForwardMm: wild("axis")}
			s.BarOffDeg = wild("bar off")
		case BarAndCrossRod:
			s.BarRod = &BarRod{Wheel: "right", ArmMm: wild("bar arm"), ToMiddleMm: wild("to middle"), ForwardMm: wild("forward"), AboveMm: wild("above")}
			s.WheelsOffDeg = wild("wheels off")
		}
		for range rapid.IntRange(0, 2).Draw(t, "record") {
			s.Record = append(s.Record, RecordEntry{Estimate{rapid.Float64Range(-30, 30).Draw(t, "toe"), 0.5}, rapid.Float64Range(-2, 2).Draw(t, "turned")})
		}
		toe := rapid.Float64Range(-40, 40).Draw(t, "toe")
		a, err := AdviseRods(rodResult(toe, rapid.Float64Range(0.05, 2).Draw(t, "u")), s)
		if err != nil {
			return
		}
		if _, err := json.Marshal(a); err != nil {
			t.Fatal(err) // a number that is none
		}
		if a.Answer == AnswerTurn && a.OffDeg == nil && math.Abs(a.Expected.ToeMm.Value-1) >= math.Abs(toe-1) {
			t.Fatalf("from %g to %g", toe, a.Expected.ToeMm.Value)
		}
	})
}
