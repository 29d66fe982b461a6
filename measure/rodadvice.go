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
	ReasonUnclear     = "turn_unclear"       // learn: what is known does not even say which way
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
	OffDeg        *Quantity    `json:"wheels_off_deg,omitempty"`  // now, to the right with the handlebar straight, where it was told
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
	OffDeg *Quantity `json:"wheels_off_deg,omitempty"` // to the right with the handlebar straight, where it was told
	Parts  []ToePart `json:"uncertainty"`              // largest first
}

// ToePart is a source of the expected toe's uncertainty.
type ToePart struct {
	Source         string  `json:"source"`
	ContributionMm float64 `json:"contribution_mm"`
	Share          float64 `json:"share"`
}

// RodTurn is one rod's part.
type RodTurn struct {
	Rod      string   `json:"rod"`       // "tie_rod", "left_rod", "right_rod", "cross_rod", "bar_rod"
	ChangeMm Quantity `json:"change_mm"` // of its length for the aim exactly; longer positive
	SetMm    float64  `json:"set_mm"`    // what the turns make of it
	Longer   bool     `json:"longer"`
	Turns    float64  `json:"turns"`
	Flats    float64  `json:"flats"` // of the hexagon
	Degrees  float64  `json:"degrees"`
	Ends     RodEnds  `json:"ends"`
	TopMoves string   `json:"top_moves"` // "front", "rear", "left", "right"; "": not known, or an end comes off
	// Thread in each end that moves.
	PitchMm        float64  `json:"pitch_mm"`
	RetreatsMm     float64  `json:"retreats_mm"`                // what the turns take; negative: further in
	LeastEngagedMm float64  `json:"least_engaged_mm,omitempty"` // where the diameter is known
	EngagedMm      float64  `json:"engaged_mm,omitempty"`       // now, where it was told
	EngagedAfterMm *float64 `json:"engaged_after_mm,omitempty"` // likewise
}

const (
	// goodChance is what "within target" has to be worth.
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
	if a.OffDeg, err = p.offNow(); err != nil {
		return nil, err
	}
	switch {
	case s.Sprung && !s.RiderOn:
		a.Answer, a.Reason = AnswerMeasure, ReasonRider
	case a.ChanceNow >= goodChance && p.value[figOff] == 0:
		a.Answer, a.Reason = AnswerLeave, ReasonWithin
	case r.settled():
		err = a.decide(p, r, &m)
	case !p.knownEnough():
		a.measureFirst(&m)
	case p.target.contains(toe):
		a.Answer, a.Reason = AnswerLeave, ReasonWithin
	default:
		a.learn(p, r)
	}
	if slices.ContainsFunc(a.Turns, RodTurn.tooLittleThread) {
		a.Answer, a.Reason = AnswerLimit, ReasonEngagement
	}
	return a, err
}

// offNow is where the wheels point with the handlebar straight; nil where nothing
// was told of it.
func (p *plan) offNow() (*Quantity, error) {
	if p.u[figOff] == 0 {
		return nil, nil
	}
	off := func(x *setup) (float64, error) {
		_, deg, err := p.after(x, make([]float64, len(p.rods)))
		return deg, err
	}
	parts, err := p.contributions(off)
	if err != nil {
		return nil, linkageRefusal(err)
	}
	value, err := off(&p.value)
	if err != nil {
		return nil, linkageRefusal(err)
	}
	q := quantity(value, math.Abs(parts[figOff]))
	return &q, nil
}

// chance that a toe is inside the target.
func (t Target) chance(toeMm, u float64) float64 {
	return normalBelow((t.HighMm-toeMm)/u) - normalBelow((t.LowMm-toeMm)/u)
}

func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// knownEnough says that the toe is known well enough to turn a rod: where it would
// be set on the aim it would be within the target, or the way to the aim is longer
// than what the measurement does not know.
func (p *plan) knownEnough() bool {
	return p.target.chance(p.target.AimMm, p.u[figToe]) >= goodChance || p.aimIsOutside()
}

// aimIsOutside says that the aim lies outside the toe's 95 % interval, so that the
// way to turn is known.
func (p *plan) aimIsOutside() bool {
	return math.Abs(p.value[figToe]-p.target.AimMm) > coverage95*p.u[figToe]
}

// settled says that it is known which way a turn changes the toe.
func (r *response) settled() bool { return r != nil && math.Abs(r.perTurnMm) > coverage95*r.u }

func (a *RodAdvice) measureFirst(m *Result) {
	a.Answer, a.Reason = AnswerMeasure, ReasonToe
	a.MeasureFirst = m.Advice[:min(mostPhotos, len(m.Advice))]
}

// learn asks for half a turn, in the direction that helps where that is known.
func (a *RodAdvice) learn(p *plan, r *response) {
	a.Answer, a.Reason = AnswerLearn, ReasonArm
	longer := 1.0
	switch rods := p.steering.Rods; {
	case r != nil:
		a.Reason = ReasonUnclear
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
	if !p.worthTurning(best, turns) {
		if p.target.contains(p.value[figToe]) && p.knownEnough() {
			a.Answer, a.Reason = AnswerLeave, ReasonFiner
		} else if p.knownEnough() {
			a.Answer, a.Reason = AnswerLimit, ReasonCoarseSteps
		} else {
			a.measureFirst(m)
		}
		return nil
	}
	a.Expected = &ExpectedToe{ToeMm: quantity(best.toeMm, best.u), Chance: p.target.chance(best.toeMm, best.u), Parts: best.parts}
	if a.OffDeg != nil {
		q := quantity(best.offDeg, a.OffDeg.StandardUncertainty)
		a.Expected.OffDeg = &q
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
	case p.aimIsOutside():
		a.Answer, a.Reason = AnswerTurn, ReasonStep
	default:
		a.Turns, a.Expected = nil, nil
		a.measureFirst(m)
	}
	return nil
}

// worthTurning says that the best setting differs from the present one, and centres
// the steering, is nearer to the aim within the target, or at least twice as near.
func (p *plan) worthTurning(best predicted, turns []float64) bool {
	if !slices.ContainsFunc(turns, func(t float64) bool { return t != 0 }) {
		return false
	}
	before, after := math.Abs(p.value[figToe]-p.target.AimMm), math.Abs(best.toeMm-p.target.AimMm)
	return p.value[figOff] != 0 || after < before && p.target.contains(best.toeMm) || after < before/2
}

func (t Target) contains(toeMm float64) bool { return t.LowMm <= toeMm && toeMm <= t.HighMm }

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
// nearest to the aim, where a degree off centre weighs as much as a millimetre of
// toe. But where nothing is known of the steering's centre, equal turns of two rods
// keep it: they go first if they are as good as inside the target.
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
		s.good = p.u[figOff] == 0 && p.equal(s.turns) && p.target.chance(s.toeMm, s.u) >= goodChance
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

// equal says that all rods that set the toe are turned alike.
func (p *plan) equal(turns []float64) bool {
	for i, t := range turns {
		if p.rods[i].share > 0 && math.Abs(t-turns[0]) > p.rods[i].step/2 {
			return false
		}
	}
	return true
}

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
		PitchMm: r.thread.PitchMm, RetreatsMm: turns * r.thread.PitchMm, LeastEngagedMm: r.thread.DiameterMm, EngagedMm: r.EngagedMm,
	}
	if turns != 0 {
		t.TopMoves = r.topMoves(t.Longer)
	}
	if r.EngagedMm > 0 {
		after := r.EngagedMm - t.RetreatsMm
		t.EngagedAfterMm = &after
	}
	return t
}

// tooLittleThread would stay: common practice wants the thread's diameter.
func (t RodTurn) tooLittleThread() bool {
	return t.Longer && t.EngagedAfterMm != nil && *t.EngagedAfterMm < t.LeastEngagedMm
}
