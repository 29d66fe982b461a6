package measure

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file is what a person tells of a steering, and the linkage that it makes.
// All lengths are level or upright, with the wheels straight ahead, at the height
// of the rod ends on the steering arms.

// SteeringKind is how the rods run.
type SteeringKind string

// The kinds of steering.
const (
	OneRod         SteeringKind = "one_rod"           // one tie rod between the wheels
	TwoRods        SteeringKind = "two_rods"          // two rods from a central arm
	BarAndCrossRod SteeringKind = "bar_and_cross_rod" // a rod from the handlebar's arm to one wheel, a cross rod between the wheels
)

// Steering describes a vehicle's steering, as its file does in JSON. Everything but
// the thread may be missing.
type Steering struct {
	Schema string       `json:"schema,omitempty"` // "rimpair/steering/1"
	Kind   SteeringKind `json:"kind,omitempty"`
	// Rods is where the rods run, seen from the kingpins: "behind" or "in_front".
	Rods string `json:"rods,omitempty"`
	RodThread
	ArmMm                 *Known `json:"arm_mm,omitempty"`         // from the kingpin's axis to the middle of the rod end
	ArmInwardDeg          *Known `json:"arm_inward_deg,omitempty"` // from straight ahead or back toward the vehicle's middle
	KingpinDistanceMm     *Known `json:"kingpin_distance_mm,omitempty"`
	KingpinInclinationDeg *Known `json:"kingpin_inclination_deg,omitempty"` // positive: the top leans inward
	CasterDeg             *Known `json:"caster_deg,omitempty"`              // positive: the top leans to the rear

	InnerEnds *InnerEnds `json:"inner_ends,omitempty"` // of two rods
	BarRod    *BarRod    `json:"bar_rod,omitempty"`    // of the handlebar's rod

	// One of them where the steering is known to be off centre, positive to the
	// right: where the wheels point with the handlebar straight, or how far the
	// handlebar is turned with the wheels straight ahead.
	WheelsOffDeg *Known `json:"wheels_off_deg,omitempty"`
	BarOffDeg    *Known `json:"bar_off_deg,omitempty"`

	MmPerTurn *Estimate     `json:"toe_mm_per_turn,omitempty"` // learned on this vehicle before, longer positive
	Record    []RecordEntry `json:"record,omitempty"`          // states before the measured one, oldest first
	Target    *Target       `json:"target,omitempty"`

	Sprung  bool `json:"sprung,omitempty"`   // the front wheels are
	RiderOn bool `json:"rider_on,omitempty"` // the measurement was taken with the rider's weight on
}

// RodThread is how a rod's length is set.
type RodThread struct {
	Thread string  `json:"thread,omitempty"`
	Ends   RodEnds `json:"ends,omitempty"` // empty: right_and_left
	// LeftThread is the end with the left-hand thread: "left" or "right", as the
	// rider sits; of two rods also "outer" or "inner"; of a handlebar's rod "bar" or "wheel".
	LeftThread string `json:"left_thread,omitempty"`
	// EndStep is what an end that has come off can be put back after: "half" or
	// "whole" turns; empty: half.
	EndStep   string  `json:"end_step,omitempty"`
	EngagedMm float64 `json:"engaged_mm,omitempty"` // thread screwed into each rod end now, the smaller of both; 0: not known
}

// Known is a figure that somebody measured or read: the truth lies anywhere within
// PlusMinus of it.
type Known struct {
	Value     float64 `json:"value"`
	PlusMinus float64 `json:"plus_minus,omitempty"` // 0: what a careful person reaches
}

// Estimate is a figure with its standard uncertainty.
type Estimate struct {
	Value               float64 `json:"value"`
	StandardUncertainty float64 `json:"standard_uncertainty"`
}

// InnerEnds are the ends of two rods at the central arm.
type InnerEnds struct {
	ApartMm       *Known `json:"apart_mm,omitempty"`
	ForwardMm     *Known `json:"forward_mm,omitempty"`      // of the outer ends
	AboveMm       *Known `json:"above_mm,omitempty"`        // the outer ends
	AxisForwardMm *Known `json:"axis_forward_mm,omitempty"` // the arm's axis, forward of the inner ends
}

// BarRod is the rod from the handlebar's arm to one wheel.
type BarRod struct {
	Wheel string `json:"wheel"`          // "left" or "right"
	Rods  string `json:"rods,omitempty"` // as Steering.Rods; empty: the same
	RodThread
	ArmMm         *Known `json:"arm_mm,omitempty"`          // empty: as the cross rod's
	ArmInwardDeg  *Known `json:"arm_inward_deg,omitempty"`  // empty: as the cross rod's
	ToMiddleMm    *Known `json:"to_middle_mm,omitempty"`    // the handlebar's end, from the wheel's toward the vehicle's middle
	ForwardMm     *Known `json:"forward_mm,omitempty"`      // the handlebar's end, of the wheel's
	AboveMm       *Known `json:"above_mm,omitempty"`        // the handlebar's end, of the wheel's
	AxisForwardMm *Known `json:"axis_forward_mm,omitempty"` // the handlebar's axis, forward of its end
}

// Target is the total toe that is wanted and allowed.
type Target struct {
	AimMm  float64 `json:"aim_mm"`
	LowMm  float64 `json:"low_mm"`
	HighMm float64 `json:"high_mm"`
}

// DefaultTarget is a little toe-in: common practice, no source.
func DefaultTarget() Target { return Target{AimMm: 1, LowMm: 0, HighMm: 2} }

// RecordEntry is a state of the vehicle and what was turned after it.
type RecordEntry struct {
	ToeMm Estimate `json:"total_toe_mm"`
	// ThenLongerByTurns is by how many turns the rod, or two rods on the average, was
	// made longer; negative: shorter.
	ThenLongerByTurns float64 `json:"then_longer_by_turns"`
}

// figure is a number that advice depends on, mm and degrees.
type figure int

const (
	figToe figure = iota
	figRim
	figOff
	figArm
	figArmInward
	figKingpins
	figInclination
	figCaster
	figInnerApart
	figInnerForward
	figInnerAbove
	figBarArm
	figBarArmInward
	figBarToMiddle
	figBarForward
	figBarAbove
	figAxisForward
	numFigures
)

// figureNames are the keys that ask for them in a description, or what they are.
var figureNames = [numFigures]string{
	"measured toe", "rim diameter", "steering off centre",
	"arm_mm", "arm_inward_deg", "kingpin_distance_mm", "kingpin_inclination_deg", "caster_deg",
	"inner_ends.apart_mm", "inner_ends.forward_mm", "inner_ends.above_mm",
	"bar_rod.arm_mm", "bar_rod.arm_inward_deg", "bar_rod.to_middle_mm", "bar_rod.forward_mm", "bar_rod.above_mm",
	"axis_forward_mm",
}

// carefulWithin is what a person with a steel rule and a bevel reaches: common
// practice, no source.
var carefulWithin = [numFigures]float64{
	figOff: 0.5, figArm: 2, figArmInward: 5, figKingpins: 5, figInclination: 3, figCaster: 3,
	figInnerApart: 3, figInnerForward: 5, figInnerAbove: 5,
	figBarArm: 2, figBarArmInward: 5, figBarToMiddle: 10, figBarForward: 10, figBarAbove: 10, figAxisForward: 3,
}

// setup are values of all figures.
type setup [numFigures]float64

// plan is a measurement and a steering, ready to compute with.
type plan struct {
	kind      SteeringKind
	ahead     [2]float64 // of the tie rods and of the handlebar's rod: −1 behind the kingpins, +1 in front
	described bool       // enough for a linkage: the arm and where the rods run
	offIsBar  bool
	barSide   Side
	hasBar    bool // the handlebar's rod is described
	camber    [2]float64
	value, u  setup
	assumed   []Assumption
	rods      []rod
	target    Target
	steering  *Steering
}

// Assumption is a figure that was not told.
type Assumption struct {
	Figure    string  `json:"figure"`
	Value     float64 `json:"value"`
	PlusMinus float64 `json:"plus_minus"`
}

// rectangular is the standard uncertainty of a value that lies anywhere within
// plus or minus: JCGM 100, 4.3.7.
func rectangular(plusMinus float64) float64 { return plusMinus / math.Sqrt(3) }

// newPlan checks what was told and fills in what was not.
func newPlan(m *Result, s *Steering) (*plan, error) {
	p := &plan{kind: cmp.Or(s.Kind, OneRod), target: DefaultTarget(), steering: s}
	if s.Target != nil {
		p.target = *s.Target
	}
	for _, check := range []func(*Result, *Steering) error{p.takeMeasurement, p.takeWords, p.takeFigures, p.takeRods} {
		if err := check(m, s); err != nil {
			return nil, err
		}
	}
	return p, nil
}

func (p *plan) takeMeasurement(m *Result, _ *Steering) error {
	if len(m.Wheels) != 2 || m.Wheels[Left].Side != Left.String() || !(m.TotalToeMm.StandardUncertainty > 0) || !(math.Abs(m.TotalToeMm.Value) < maxToeMm) {
		return errors.New("this is no whole measurement: total toe, its uncertainty and two wheels are needed")
	}
	p.value[figToe], p.u[figToe] = m.TotalToeMm.Value, m.TotalToeMm.StandardUncertainty
	for side, w := range m.Wheels {
		if !(w.RimDiameterMm.Value > 100 && w.RimDiameterMm.Value < 1000) {
			return fmt.Errorf("no wheel has a rim of %g mm", w.RimDiameterMm.Value)
		}
		p.value[figRim] += w.RimDiameterMm.Value / 2
		p.u[figRim] += w.RimDiameterMm.StandardUncertainty / 2 // of one kind on both sides
		p.camber[side] = w.CamberDeg.Value / degPerRad
	}
	return nil
}

// maxToeMm is where a measurement or a steering is bent rather than out of
// adjustment.
const maxToeMm = 100

// takeWords checks what has only some possible answers.
func (p *plan) takeWords(_ *Result, s *Steering) error {
	if t := p.target; !(t.LowMm < t.AimMm && t.AimMm < t.HighMm) || math.Abs(t.AimMm) > 20 {
		return fmt.Errorf("steering: the target needs low < aim < high, not %g, %g, %g", t.LowMm, t.AimMm, t.HighMm)
	}
	if s.Schema != "" && s.Schema != SteeringSchema {
		return fmt.Errorf("steering: schema %q is not known, only %q", s.Schema, SteeringSchema)
	}
	if err := oneOf("kind", string(p.kind), string(OneRod), string(TwoRods), string(BarAndCrossRod)); err != nil {
		return err
	}
	if err := oneOf("rods", s.Rods, "", "behind", "in_front"); err != nil {
		return err
	}
	switch {
	case s.InnerEnds != nil && p.kind != TwoRods:
		return errors.New("steering: inner_ends belong to two_rods")
	case s.BarRod != nil && p.kind != BarAndCrossRod:
		return errors.New("steering: bar_rod belongs to bar_and_cross_rod")
	case s.WheelsOffDeg != nil && s.BarOffDeg != nil:
		return errors.New("steering: give wheels_off_deg or bar_off_deg, not both")
	}
	if s.BarRod != nil {
		if err := oneOf("bar_rod.wheel", s.BarRod.Wheel, "left", "right"); err != nil {
			return err
		}
		if err := oneOf("bar_rod.rods", s.BarRod.Rods, "", "behind", "in_front"); err != nil {
			return err
		}
	}
	return nil
}

// SteeringSchema is the version of descriptions that is read.
const SteeringSchema = "rimpair/steering/1"

func oneOf(key, value string, allowed ...string) error {
	for _, a := range allowed {
		if value == a {
			return nil
		}
	}
	return fmt.Errorf("steering: %s cannot be %q; it is one of %q", key, value, allowed)
}

// takeFigures sets each figure to what was told, or else to what is usual, with a
// wide uncertainty: common practice, no source.
func (p *plan) takeFigures(m *Result, s *Steering) error {
	p.described = s.ArmMm != nil && s.Rods != ""
	var problems []error
	tell := func(f figure, told *Known, usual Known) {
		k := usual
		if told != nil {
			k = *told
			k.PlusMinus = cmp.Or(k.PlusMinus, carefulWithin[f])
		} else {
			p.assumed = append(p.assumed, Assumption{figureNames[f], k.Value, k.PlusMinus})
		}
		if !(math.Abs(k.Value) < 2000) || !(k.PlusMinus >= 0 && k.PlusMinus < 500) {
			problems = append(problems, fmt.Errorf("steering: %s of %g ± %g", figureNames[f], k.Value, k.PlusMinus))
		}
		p.value[f], p.u[f] = k.Value, rectangular(k.PlusMinus)
	}
	if off := cmp.Or(s.WheelsOffDeg, s.BarOffDeg); off != nil {
		if !p.described || p.kind == OneRod || p.kind == BarAndCrossRod && s.BarRod == nil {
			return errors.New("steering: to centre it, describe the arms and two rods, or the handlebar's rod with bar_rod")
		}
		tell(figOff, off, Known{})
		p.offIsBar = s.BarOffDeg != nil
		if math.Abs(p.value[figOff]) <= coverage95*p.u[figOff] { // not known to be off
			p.value[figOff], p.u[figOff] = 0, 0
		}
	}
	if !p.described {
		return errors.Join(problems...)
	}
	p.ahead = [2]float64{ahead(s.Rods), ahead(s.Rods)}
	tell(figArm, s.ArmMm, Known{})
	// Arms usually point to the rear axle's middle or away from it.
	tell(figArmInward, s.ArmInwardDeg, Known{-15 * p.ahead[0], 15})
	tell(figKingpins, s.KingpinDistanceMm, Known{math.Max(300, m.TrackMm.Value-120), 80})
	tell(figInclination, s.KingpinInclinationDeg, Known{10, 10})
	tell(figCaster, s.CasterDeg, Known{8, 8})
	switch {
	case p.kind == TwoRods:
		inner := cmp.Or(s.InnerEnds, &InnerEnds{})
		tell(figInnerApart, inner.ApartMm, Known{60, 40})
		tell(figInnerForward, inner.ForwardMm, Known{0, 30})
		tell(figInnerAbove, inner.AboveMm, Known{0, 20})
		p.axis(inner.AxisForwardMm, tell)
	case s.BarRod != nil:
		b := s.BarRod
		p.hasBar = true
		p.barSide = map[string]Side{"left": Left, "right": Right}[b.Wheel]
		p.ahead[1] = ahead(cmp.Or(b.Rods, s.Rods))
		tell(figBarArm, cmp.Or(b.ArmMm, s.ArmMm), Known{})
		tell(figBarArmInward, cmp.Or(b.ArmInwardDeg, s.ArmInwardDeg), Known{0, 20})
		if b.ToMiddleMm == nil || b.ForwardMm == nil {
			problems = append(problems, errors.New("steering: bar_rod needs to_middle_mm and forward_mm, which say where it leads"))
		}
		tell(figBarToMiddle, b.ToMiddleMm, Known{})
		tell(figBarForward, b.ForwardMm, Known{})
		tell(figBarAbove, b.AboveMm, Known{0, 50})
		p.axis(b.AxisForwardMm, tell)
	}
	if p.offIsBar && p.u[figAxisForward] == 0 {
		problems = append(problems, errors.New("steering: bar_off_deg needs axis_forward_mm, the handlebar's axis from its rod ends; or give wheels_off_deg"))
	}
	if !(p.value[figArm] > 20 && p.value[figArm] < 300) {
		problems = append(problems, fmt.Errorf("steering: no steering arm is %g mm long", p.value[figArm]))
	}
	return errors.Join(problems...)
}

// axis matters only where the handlebar's own angle is told.
func (p *plan) axis(told *Known, tell func(figure, *Known, Known)) {
	if told != nil {
		tell(figAxisForward, told, Known{})
	}
}

func ahead(rods string) float64 {
	if rods == "in_front" {
		return 1
	}
	return -1
}

// linkage with the origin midway between the kingpins at the rod ends' height.
func (p *plan) linkage(x *setup) *Linkage {
	l := &Linkage{}
	tanInclination := math.Tan(x[figInclination] / degPerRad)
	tanCaster := math.Tan(x[figCaster] / degPerRad)
	for _, side := range [2]Side{Left, Right} {
		out := side.sign() // of x, outward
		l.Pivots[side] = Pivot{
			Foot: r3.Vec{X: out * x[figKingpins] / 2},
			Axis: r3.Unit(r3.Vec{X: -out * tanInclination, Y: -tanCaster, Z: 1}),
		}
		l.Axles[side] = newAxes(0, -out*p.camber[side]).axle
	}
	arm := func(side Side, length, inward figure, ahead float64) r3.Vec {
		sin, cos := math.Sincos(x[inward] / degPerRad)
		return r3.Add(l.Pivots[side].Foot, r3.Scale(x[length], r3.Vec{X: -side.sign() * sin, Y: ahead * cos}))
	}
	outer := [2]r3.Vec{}
	for _, side := range [2]Side{Left, Right} {
		outer[side] = arm(side, figArm, figArmInward, p.ahead[0])
	}
	if p.kind != TwoRods {
		l.Rods = []Rod{{{LeftCarrier, outer[Left]}, {RightCarrier, outer[Right]}}}
	}
	bar := r3.Vec{}
	switch {
	case p.kind == TwoRods:
		bar = r3.Vec{Y: outer[Left].Y + x[figInnerForward], Z: x[figInnerAbove]}
		for _, side := range [2]Side{Left, Right} {
			inner := r3.Add(bar, r3.Vec{X: side.sign() * x[figInnerApart] / 2})
			l.Rods = append(l.Rods, Rod{{Body(side), outer[side]}, {Handlebar, inner}})
		}
	case p.hasBar:
		end := arm(p.barSide, figBarArm, figBarArmInward, p.ahead[1])
		bar = r3.Add(end, r3.Vec{X: -p.barSide.sign() * x[figBarToMiddle], Y: x[figBarForward], Z: x[figBarAbove]})
		l.Rods = append(l.Rods, Rod{{Body(p.barSide), end}, {Handlebar, bar}})
	}
	l.Pivots[Handlebar] = Pivot{Foot: r3.Add(bar, r3.Vec{Y: x[figAxisForward]}), Axis: r3.Vec{Z: 1}}
	return l
}

// toeRad of either wheel for a total toe at the rims.
func toeRad(totalMm, rimMm float64) float64 { return math.Asin(totalMm / (2 * rimMm)) }

// now is the pose that was measured.
func (p *plan) now(l *Linkage, x *setup) (PoseRad, error) {
	toe, off := toeRad(x[figToe], x[figRim]), x[figOff]/degPerRad
	if len(l.Rods) == 1 { // nothing to be off from
		off = 0
	}
	if p.offIsBar {
		return l.Pose(toe, 0, -off)
	}
	return l.Pose(toe, -off, 0)
}

// changes of the rods' lengths that bring the wheels to a total toe with all
// straight ahead.
func (p *plan) changes(x *setup, toMm float64) ([]float64, error) {
	l := p.linkage(x)
	now, err := p.now(l, x)
	if err != nil {
		return nil, err
	}
	then, err := l.Pose(toeRad(toMm, x[figRim]), 0, 0)
	if err != nil {
		return nil, err
	}
	lengths := l.LengthsMm(then)
	for i, length := range l.LengthsMm(now) {
		lengths[i] -= length
	}
	return lengths, nil
}

// after is the total toe once the rods have been made longer, and where the wheels
// then point with the handlebar straight, to the right, in degrees.
func (p *plan) after(x *setup, longerMm []float64) (toeMm, offDeg float64, err error) {
	l := p.linkage(x)
	now, err := p.now(l, x)
	if err != nil {
		return 0, 0, err
	}
	lengths := l.LengthsMm(now)
	for i := range lengths {
		lengths[i] += longerMm[i]
	}
	start, err := l.Pose(toeRad(x[figToe], x[figRim]), 0, 0)
	if err != nil {
		return 0, 0, err
	}
	then, err := l.Solve(lengths, start)
	if err != nil {
		return 0, 0, err
	}
	return 2 * x[figRim] * math.Sin(l.ToeRad(then)), -l.MeanHeadingRad(then) * degPerRad, nil
}
