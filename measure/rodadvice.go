package measure

import (
	"cmp"
	"math"
	"slices"
)

// This file decides what to do about a measured toe: turn, leave it, measure
// better first, or learn what a turn does.

// AdjustmentSchema is the version of RodAdvice.
const AdjustmentSchema = "rimpair/adjustment/1"

// Answers.
const (
	AnswerTurn    = "turn"
	AnswerLeave   = "leave"
	AnswerMeasure = "measure" // not known well enough
	AnswerLearn   = "learn"   // nothing is known of what a turn does
	AnswerLimit   = "limit"   // the rods cannot be set so
)

// Reasons for an answer.
const (
	ReasonOneTurn     = "one_turn"           // turn: this will do
	ReasonStep        = "then_measure_again" // turn: nearer, but not surely inside the target
	ReasonWithin      = "within_target"      // leave
	ReasonFiner       = "finer_than_a_turn"  // leave: in the target, and no step comes nearer to the aim
	ReasonToe         = "toe_not_known"      // measure
	ReasonRider       = "rider_off"          // measure: sprung, and without the rider's weight
	ReasonArm         = "arm_unknown"        // learn
	ReasonPlace       = "rods_unknown"       // learn: behind or in front of the kingpins
	ReasonEngagement  = "engagement"         // limit: too little thread would be left
	ReasonCoarseSteps = "steps_too_coarse"   // limit: no step leads nearer
)

// RodAdvice says what to turn, how far and which way.
type RodAdvice struct {
	Schema        string       `json:"schema"`
	Answer        string       `json:"answer"`
	Reason        string       `json:"reason"`
	Kind          SteeringKind `json:"kind"`
	ToeMm         Quantity     `json:"total_toe_mm"` // measured
	Target        Target       `json:"target"`
	ChanceNow     float64      `json:"chance_within_target"`
	Turns         []RodTurn    `json:"turns"`
	Expected      *ExpectedToe `json:"expected,omitempty"`
	MmPerTurn     *Quantity    `json:"toe_mm_per_turn,omitempty"` // of the rod, or of both of two, longer
	MmPerTurnFrom []string     `json:"toe_mm_per_turn_from"`      // "linkage", "learned", "record"
	Assumed       []Assumption `json:"assumed"`                   // of the steering, where nothing was told
	// Measure first, where that is the answer: most useful first.
	MeasureFirst      []Advice `json:"measure_first"`
	NeededHalfWidthMm float64  `json:"needed_half_width_mm"` // of the 95 % interval, to judge the target
	Sprung            bool     `json:"sprung"`
}

// ExpectedToe is the toe after the turns.
type ExpectedToe struct {
	ToeMm  Quantity  `json:"total_toe_mm"`
	Chance float64   `json:"chance_within_target"`
	OffDeg float64   `json:"wheels_off_deg"` // to the right, with the handlebar straight
	Parts  []ToePart `json:"uncertainty"`    // largest first
}

// ToePart is a source of the expected toe's uncertainty.
type ToePart struct {
	Source         string  `json:"source"`
	ContributionMm float64 `json:"contribution_mm"`
	Share          float64 `json:"share"`
}

// RodTurn is one rod's part.
type RodTurn struct {
	Rod        string   `json:"rod"`       // "tie_rod", "left_rod", "right_rod", "cross_rod", "bar_rod"
	ChangeMm   Quantity `json:"change_mm"` // for the aim exactly; longer positive
	SetMm      float64  `json:"set_mm"`    // what the turns make; longer positive
	Longer     bool     `json:"longer"`
	Turns      float64  `json:"turns"`
	Flats      float64  `json:"flats"`
	Degrees    float64  `json:"degrees"`
	Ends       RodEnds  `json:"ends"`
	TopMoves   string   `json:"top_moves"` // "front", "rear", "left", "right"; "": not known, or an end comes off
	PitchMm    float64  `json:"pitch_mm"`
	LeastMm    float64  `json:"least_engaged_mm"`     // 0: diameter not known
	EngagedMm  float64  `json:"engaged_mm"`           // now; 0: not known
	RemainsMm  float64  `json:"engaged_after_mm"`     // 0: not known
	RetreatsMm float64  `json:"each_end_retreats_mm"` // of thread; negative: further in
}

const (
	// goodChance is what "within target" and "nearer" have to be worth.
	goodChance = 0.95
	mostPhotos = 3
)

// AdviseRods says what to turn for the wanted toe. The error is a *vision.Refusal
// when what was told of the steering contradicts itself or the record.
func AdviseRods(m Result, s Steering) (*RodAdvice, error) {
	p, err := newPlan(&m, &s)
	if err != nil {
		return nil, err
	}
	r, err := p.response()
	if err != nil {
		return nil, err
	}
	toe, u := p.value[figToe], p.u[figToe]
	a := &RodAdvice{
		Schema: AdjustmentSchema, Kind: p.kind, ToeMm: m.TotalToeMm, Target: p.target, ChanceNow: p.target.chance(toe, u),
		Assumed: p.assumed, Sprung: s.Sprung, NeededHalfWidthMm: min(p.target.AimMm-p.target.LowMm, p.target.HighMm-p.target.AimMm),
	}
	if r != nil {
		q := quantity(r.perTurnMm, r.u)
		a.MmPerTurn, a.MmPerTurnFrom = &q, r.sources
	}
	switch {
	case s.Sprung && !s.RiderOn:
		a.Answer, a.Reason = AnswerMeasure, ReasonRider
	case a.ChanceNow >= goodChance && p.centred(), r == nil && p.knownEnough() && p.target.contains(toe):
		a.Answer, a.Reason = AnswerLeave, ReasonWithin
	case r == nil && p.knownEnough():
		a.learn(p)
	case r == nil:
		a.measureFirst(&m)
	default:
		err = a.decide(p, r, &m)
	}
	if slices.ContainsFunc(a.Turns, func(t RodTurn) bool { return t.EngagedMm > 0 && t.RemainsMm < t.LeastMm }) {
		a.Answer, a.Reason = AnswerLimit, ReasonEngagement
	}
	return a, err
}

// centred says that nothing has to be done about the steering's centre.
func (p *plan) centred() bool { return math.Abs(p.value[figOff]) <= coverage95*p.u[figOff] }

// chance that a toe is inside the target.
func (t Target) chance(toeMm, u float64) float64 {
	return normalBelow((t.HighMm-toeMm)/u) - normalBelow((t.LowMm-toeMm)/u)
}

func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// knownEnough says that turning can be judged: by a chance of success where the toe
// would be set on the aim, or because it is surely nearer than before.
func (p *plan) knownEnough() bool {
	toe, u := p.value[figToe], p.u[figToe]
	return p.target.chance(p.target.AimMm, u) >= goodChance || math.Abs(toe-p.target.AimMm)/(2*u) >= normalQuantile95
}

// normalQuantile95: a normal variable is below it in 95 % of all cases.
const normalQuantile95 = 1.645

func (a *RodAdvice) measureFirst(m *Result) {
	a.Answer, a.Reason = AnswerMeasure, ReasonToe
	a.MeasureFirst = m.Advice[:min(mostPhotos, len(m.Advice))]
}

// learn asks for half a turn, in the direction that helps where that is known.
func (a *RodAdvice) learn(p *plan) {
	a.Answer, a.Reason = AnswerLearn, ReasonArm
	longer := 1.0
	switch rods := p.steering.Rods; {
	case rods == "":
		a.Reason = ReasonPlace
	case (rods == "behind") != (p.value[figToe] < p.target.AimMm): // longer means toe-in behind the kingpins
		longer = -1
	}
	for i := range p.rods {
		turns := longer * max(0.5, p.rods[i].step)
		a.Turns = append(a.Turns, p.rods[i].turn(turns, quantity(turns*p.rods[i].leadMm, 0)))
	}
}

// decide weighs the best setting.
func (a *RodAdvice) decide(p *plan, r *response, m *Result) error {
	exact, err := p.turnsFor(r, &p.value)
	if err != nil {
		return err
	}
	best, turns, err := p.bestSetting(r, exact)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(turns, func(t float64) bool { return t != 0 }) {
		if p.target.contains(p.value[figToe]) && p.knownEnough() {
			a.Answer, a.Reason = AnswerLeave, ReasonFiner
		} else if p.knownEnough() {
			a.Answer, a.Reason = AnswerLimit, ReasonCoarseSteps
		} else {
			a.measureFirst(m)
		}
		return nil
	}
	a.Expected = &ExpectedToe{
		ToeMm: quantity(best.toeMm, best.u), Chance: p.target.chance(best.toeMm, best.u), OffDeg: best.offDeg, Parts: best.parts,
	}
	for i, t := range turns {
		change, err := p.changeOf(r, i, exact)
		if err != nil {
			return err
		}
		a.Turns = append(a.Turns, p.rods[i].turn(t, change))
	}
	switch {
	case a.Expected.Chance >= goodChance:
		a.Answer, a.Reason = AnswerTurn, ReasonOneTurn
	case p.surelyNearer(best):
		a.Answer, a.Reason = AnswerTurn, ReasonStep
	default:
		a.Turns, a.Expected = nil, nil
		a.measureFirst(m)
		return nil
	}
	return nil
}

func (t Target) contains(toeMm float64) bool { return t.LowMm <= toeMm && toeMm <= t.HighMm }

// surelyNearer says that the toe will be nearer to the aim than it is: that the aim
// lies beyond half of the way.
func (p *plan) surelyNearer(best predicted) bool {
	toe := p.value[figToe]
	change := best.toeMm - toe
	changeU := math.Sqrt(math.Max(0, best.u*best.u-p.u[figToe]*p.u[figToe]))
	beyond := (p.target.AimMm - toe - change/2) * sign(change)
	return beyond/math.Hypot(p.u[figToe], changeU/2) >= normalQuantile95
}

func sign(v float64) float64 { return math.Copysign(1, v) }

// turnsFor are the turns that bring the toe exactly to the aim.
func (p *plan) turnsFor(r *response, x *setup) ([]float64, error) {
	wanted := p.target.AimMm - x[figToe]
	turns := make([]float64, len(p.rods))
	if !p.described {
		for i := range turns {
			turns[i] = wanted / r.perTurnMm
		}
		return turns, nil
	}
	changes, err := p.changes(x, x[figToe]+wanted/r.scale)
	if err != nil {
		return nil, linkageRefusal(err)
	}
	for i := range turns {
		turns[i] = changes[i] / p.rods[i].leadMm
	}
	return turns, nil
}

// changeOf is a rod's exact change of length: uncertain by the measured toe and the
// steering's centre, and by what a turn makes, in proportion.
func (p *plan) changeOf(r *response, i int, exact []float64) (Quantity, error) {
	parts, err := p.contributions(func(x *setup) (float64, error) {
		turns, err := p.turnsFor(r, x)
		if err != nil {
			return 0, err
		}
		return turns[i], nil
	})
	if err != nil {
		return Quantity{}, err
	}
	u := math.Hypot(math.Hypot(parts[figToe], parts[figOff]), exact[i]*r.u/r.perTurnMm)
	lead := p.rods[i].leadMm
	return quantity(exact[i]*lead, u*lead), nil
}

// bestSetting tries each rod's two settings next to the exact one and takes that
// nearest to the aim, where a degree off centre weighs as much as a millimetre of toe. But where nothing is known of the steering's centre, equal
// turns of two rods keep it: they go first if they are as good as inside the target.
func (p *plan) bestSetting(r *response, exact []float64) (best predicted, turns []float64, err error) {
	type setting struct {
		predicted
		turns []float64
		good  bool // equal, and as good as inside the target
	}
	var list []setting
	for pick := range 1 << len(exact) {
		s := setting{turns: make([]float64, len(exact))}
		for i, t := range exact {
			s.turns[i] = p.rods[i].around(t)[pick>>i&1]
		}
		if s.predicted, err = p.predict(r, s.turns); err != nil {
			return best, nil, err
		}
		s.good = p.u[figOff] == 0 && math.Abs(s.offDeg) < sameOffDeg && p.target.chance(s.toeMm, s.u) >= goodChance
		list = append(list, s)
	}
	distance := func(s setting) float64 { return math.Abs(s.toeMm-p.target.AimMm) + math.Abs(s.offDeg) }
	winner := slices.MinFunc(list, func(a, b setting) int {
		if a.good != b.good {
			return map[bool]int{true: -1, false: 1}[a.good]
		}
		return cmp.Compare(distance(a), distance(b))
	})
	return winner.predicted, winner.turns, nil
}

// sameOffDeg off centre is none.
const sameOffDeg = 1e-6

func (p *predicted) addPart(source string, variance float64) {
	if variance > 0 {
		p.parts = append(p.parts, ToePart{Source: source, ContributionMm: math.Sqrt(variance)})
		p.u = math.Hypot(p.u, math.Sqrt(variance))
	}
}

// finish sorts the parts and says their shares.
func (p *predicted) finish() {
	for i := range p.parts {
		p.parts[i].Share = math.Pow(p.parts[i].ContributionMm/p.u, 2)
	}
	slices.SortStableFunc(p.parts, func(a, b ToePart) int { return cmp.Compare(b.ContributionMm, a.ContributionMm) })
}

// turn describes turning a rod; longer positive.
func (r *rod) turn(turns float64, change Quantity) RodTurn {
	size := math.Abs(turns)
	t := RodTurn{
		Rod: r.name, ChangeMm: change, SetMm: turns * r.leadMm, Longer: turns > 0,
		Turns: size, Flats: flats * size, Degrees: 360 * size, Ends: r.Ends,
		PitchMm: r.thread.PitchMm, LeastMm: r.leastEngagedMm(), EngagedMm: r.EngagedMm, RetreatsMm: turns * r.retreatMm(),
	}
	if turns != 0 {
		t.TopMoves = r.topMoves(t.Longer)
	}
	if r.EngagedMm > 0 {
		t.RemainsMm = r.EngagedMm - t.RetreatsMm
	}
	return t
}
