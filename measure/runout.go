package measure

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// This file takes the rims' run-out out of toe, from photos of several positions of the
// wheels, and says how large it is.
//
// A rim that runs out of true sideways once around stands at a small angle e to its
// axle. Its lean (heading ψ, tilt γ) is a vector fixed to the wheel: once the wheel has
// turned forward by t, it has turned along,
//
//	ψ(t) = ψ_axle + e_ψ cos t + e_γ sin t + steering(t)
//	γ(t) = γ_axle + e_γ cos t − e_ψ sin t,
//
// so that over half a turn it changes sign and the mean of both positions is the axle's,
// whatever its size. The adjustment measures ψ and γ of each rim in each position, with
// their covariance; these equations are solved for the axles, e and what the steering
// did between the positions by generalised least squares (Aitken, Proc. R. Soc. Edinb.
// 55, 1935), with priors where little is known. Peak to peak at the rim, of diameter D,
// run-out is D |e|. Bends that repeat twice and more around do not show in it.
//
// With p the weights by which toe follows from the readings, toe is a function of the
// scene like any other and has its lines in the budget; one more line holds what the
// positions themselves leave.

// What is assumed of the positions; common practice, no source.
const (
	turnSigmaRad = 5 / degPerRad // of a wheel turned by hand until the valve stands where said
	// settleSigmaMm is by how much an axle, set down again, stands otherwise, at the
	// rim: bearings and rod ends.
	settleSigmaMm = 0.1
	// Steering that nobody meant to move, where the wheels turned on the spot and where
	// the vehicle rolled, and what an uneven floor adds to a wheel's lean then.
	heldSteerRad, rolledSteerRad = 0.1 / degPerRad, 1 / degPerRad
	rolledMm                     = 10.0 // from which it has rolled
)

// runoutLimitsMm are the most that a rim may run out sideways, peak to peak, with rim
// brakes and with others (ISO 4210-2, from memory).
var runoutLimitsMm = [2]float64{1, 2}

// lean is a rim's or an axle's heading and tilt.
const (
	leanHeading = iota
	leanTilt
	leanNumbers
)

// positions is what the rims' leans in several positions say.
type positions struct {
	weights    *mat.Dense // of the readings, for each of the unknowns
	covariance *mat.SymDense
	adjusted   *mat.SymDense // covariance of the readings by the adjustment
	found      []float64
	restMm     float64 // standard uncertainty of total toe beyond the adjustment's
	doubt      float64 // factor by which uncertainties were widened, at least 1
}

// MeasurePositions measures a vehicle from photos of several positions of its wheels.
func MeasurePositions(states []State, settings Settings) (*Measurement, error) {
	if len(states) < 2 {
		return nil, errors.New("one position of the wheels is no more than a plain measurement")
	}
	m, f, err := fitStates(states, settings)
	if err != nil {
		return nil, err
	}
	if m.positions, err = m.solvePositions(f); err != nil {
		return nil, m.unsettled(err)
	}
	return m.report(f), nil
}

// readings are each rim's lean in each state: state by state, left before right.
func (s *Scene) readings() []float64 {
	var y []float64
	for state := range s.Changes {
		for side := range s.Wheels {
			w := s.wheelIn(state, Side(side))
			y = append(y, w.rimHeadingRad(), w.rimTiltRad())
		}
	}
	return y
}

func reading(state int, side Side, number int) int {
	return (2*state+int(side))*leanNumbers + number
}

// Unknowns of the positions: of each wheel the axle's lean and the rim's against it,
// then the steering in each state after the first.
func axleUnknown(side Side, number int) int   { return int(side)*2*leanNumbers + number }
func runoutUnknown(side Side, number int) int { return axleUnknown(side, leanNumbers+number) }
func steeringUnknown(state int) int           { return 2*2*leanNumbers + state - 1 }

// solvePositions solves for the axles and the rims' run-out.
func (m *set) solvePositions(f *fitted) (*positions, error) {
	adjusted := f.jointCovariance(len(f.scene.readings()), func(s *Scene, i int) float64 { return s.readings()[i] })
	return m.positionsBy(f.scene, adjusted)
}

// positionsBy solves them for readings with this covariance.
func (m *set) positionsBy(s *Scene, adjusted *mat.SymDense) (*positions, error) {
	n := steeringUnknown(len(s.Changes))
	design := mat.NewDense(len(s.readings()), n, nil)
	prior := mat.NewDense(n, n, nil)
	for side := range s.Wheels {
		side := Side(side)
		// Of a run-out of the assumed size, in any direction.
		sigma := max(m.settings.RunoutMm, runoutLimitsMm[0]) / (2 * m.rimRadius(s, side)) / math.Sqrt2
		for number := range leanNumbers {
			prior.Set(runoutUnknown(side, number), runoutUnknown(side, number), 1/(sigma*sigma))
		}
		for state := range s.Changes {
			sin, cos := math.Sincos(s.Changes[state][side].TurnRad)
			heading, tilt := reading(state, side, leanHeading), reading(state, side, leanTilt)
			design.Set(heading, axleUnknown(side, leanHeading), 1)
			design.Set(heading, runoutUnknown(side, leanHeading), cos)
			design.Set(heading, runoutUnknown(side, leanTilt), sin)
			design.Set(tilt, axleUnknown(side, leanTilt), 1)
			design.Set(tilt, runoutUnknown(side, leanTilt), cos)
			design.Set(tilt, runoutUnknown(side, leanHeading), -sin)
			if state > 0 {
				steering := steeringUnknown(state)
				design.Set(heading, steering, 1)
				sigma := heldSteerRad
				if s.rolled(state) {
					sigma = rolledSteerRad
				}
				prior.Set(steering, steering, 1/(sigma*sigma))
			}
		}
	}
	p := &positions{found: make([]float64, n)}
	var covariance *mat.SymDense
	for range 2 { // what a turn by hand leaves depends on the run-out found
		covariance = m.readingCovariance(s, adjusted, p)
		if err := p.solve(design, covariance, prior, s.readings()); err != nil {
			return nil, err
		}
	}
	p.adjusted = adjusted
	p.question(design, covariance, prior, s.readings())
	p.restMm = m.rimsMm(s) * p.restRad(0, [2]float64{-0.5, 0.5})
	return p, nil
}

// rolled says whether the vehicle rolled between the first state and this one.
func (s *Scene) rolled(state int) bool {
	for _, c := range s.Changes[state] {
		if math.Hypot(c.Move.X, c.Move.Y) > rolledMm {
			return true
		}
	}
	return false
}

// readingCovariance adds to what the adjustment leaves of the readings how the axles
// settle and how far off the wheels were turned.
func (m *set) readingCovariance(s *Scene, adjusted *mat.SymDense, p *positions) *mat.SymDense {
	c := mat.NewSymDense(adjusted.SymmetricDim(), nil)
	c.CopySym(adjusted)
	add := func(i, j int, v float64) { c.SetSym(i, j, c.At(i, j)+v) }
	for state := range s.Changes {
		for side := range s.Wheels {
			side := Side(side)
			heading, tilt := reading(state, side, leanHeading), reading(state, side, leanTilt)
			settle := settleSigmaMm / (2 * m.rimRadius(s, side))
			settleTilt := settle
			if s.rolled(state) {
				settleTilt = restTiltSigmaRad
			}
			add(heading, heading, settle*settle)
			add(tilt, tilt, settleTilt*settleTilt)
			byHeading, byTilt := rolled(p.found[runoutUnknown(side, leanHeading)], p.found[runoutUnknown(side, leanTilt)], s.Changes[state][side].TurnRad+math.Pi/2)
			byHeading, byTilt = byHeading*turnSigmaRad, byTilt*turnSigmaRad
			add(heading, heading, byHeading*byHeading)
			add(tilt, tilt, byTilt*byTilt)
			add(heading, tilt, byHeading*byTilt)
		}
	}
	return c
}

// solve is the generalised least squares: x = (AᵀC⁻¹A + P)⁻¹ AᵀC⁻¹ y.
func (p *positions) solve(design *mat.Dense, covariance *mat.SymDense, prior *mat.Dense, y []float64) error {
	var factor mat.Cholesky
	if !factor.Factorize(covariance) {
		return errors.New("the rims' leans in the positions cannot be told apart")
	}
	var weighted, normal, inverse mat.Dense
	if err := factor.SolveTo(&weighted, design); err != nil {
		return err
	}
	normal.Mul(design.T(), &weighted)
	normal.Add(&normal, prior)
	if err := inverse.Inverse(&normal); err != nil {
		return err
	}
	n := len(p.found)
	p.weights = &mat.Dense{}
	p.weights.Mul(&inverse, weighted.T())
	p.covariance = mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			p.covariance.SetSym(i, j, (inverse.At(i, j)+inverse.At(j, i))/2)
		}
		p.found[i] = p.of(i, y)
	}
	return nil
}

// question widens the uncertainties where the rims do not lean as the positions said to be
// make them. Half a turn cannot show that; each position more has two readings of each rim
// that the others tell beforehand, with the steering's prior. Of good positions one set in
// a hundred is widened.
func (p *positions) question(design *mat.Dense, covariance *mat.SymDense, prior *mat.Dense, y []float64) {
	p.doubt = 1
	free := len(y) - steeringUnknown(1)
	if free == 0 {
		return
	}
	var residuals mat.VecDense
	residuals.MulVec(design, mat.NewVecDense(len(p.found), p.found))
	residuals.SubVec(mat.NewVecDense(len(y), y), &residuals)
	var factor mat.Cholesky
	var weighted mat.VecDense
	if !factor.Factorize(covariance) || factor.SolveVecTo(&weighted, &residuals) != nil {
		return // it was solved with this already
	}
	chiSquare := mat.Dot(&residuals, &weighted)
	for i := steeringUnknown(1); i < len(p.found); i++ {
		chiSquare += prior.At(i, i) * p.found[i] * p.found[i]
	}
	if chiSquare > (distuv.ChiSquared{K: float64(free)}).Quantile(0.99) {
		p.doubt = math.Sqrt(chiSquare / float64(free))
		p.covariance.ScaleSym(p.doubt*p.doubt, p.covariance)
	}
}

// of is one of the unknowns by the readings.
func (p *positions) of(unknown int, y []float64) float64 {
	return mat.Dot(p.weights.RowView(unknown), mat.NewVecDense(len(y), y))
}

// toeRad is half of what the axles' headings differ by.
func (p *positions) toeRad(s *Scene) float64 {
	y := s.readings()
	return (p.of(axleUnknown(Right, leanHeading), y) - p.of(axleUnknown(Left, leanHeading), y)) / 2
}

func (p *positions) tiltRad(s *Scene, side Side) float64 {
	return p.of(axleUnknown(side, leanTilt), s.readings())
}

// runout is how a rim leans against its axle in the first position.
func (p *positions) runout(side Side) lean {
	i, j := runoutUnknown(side, leanHeading), runoutUnknown(side, leanTilt)
	return lean{
		value:      [2]float64{p.found[i], p.found[j]},
		covariance: [3]float64{p.covariance.At(i, i), p.covariance.At(i, j), p.covariance.At(j, j)},
	}
}

// headingRad is that of a wheel's axle as it was steered in a state.
func (p *positions) headingRad(s *Scene, side Side, state int) float64 {
	y := s.readings()
	heading := p.of(axleUnknown(side, leanHeading), y)
	if state > 0 {
		heading += p.of(steeringUnknown(state), y)
	}
	return heading
}

// restRad is the standard uncertainty of a weighted sum of the axles' headings in a state,
// left before right, beyond what the adjustment makes of it.
func (p *positions) restRad(state int, weight [2]float64) float64 {
	ask := make([]float64, len(p.found))
	for side, w := range weight {
		ask[axleUnknown(Side(side), leanHeading)] = w
		if state > 0 {
			ask[steeringUnknown(state)] += w
		}
	}
	var weights mat.VecDense
	weights.MulVec(p.weights.T(), mat.NewVecDense(len(ask), ask))
	return math.Sqrt(max(0, variance(p.covariance, ask)-variance(p.adjusted, weights.RawVector().Data)))
}

// runoutSigmaMm is the standard uncertainty that run-out leaves in total toe.
func (m *set) runoutSigmaMm() float64 { return m.runoutLine().ContributionMm }

// runoutLine is the budget's for run-out: assumed from one position, from several what
// these leave of it.
func (m *set) runoutLine() BudgetLine {
	if m.positions == nil {
		return runoutLine(m.settings.RunoutMm)
	}
	line := runoutLine(m.positions.restMm)
	line.Code = "positions_by_hand"
	return line
}

// addRunout says how large the rims' run-out is, where several positions were seen.
func (m *set) addRunout(f *fitted, r *Result) {
	p := m.positions
	if p == nil {
		return
	}
	for side := range f.scene.Wheels {
		side := Side(side)
		e := p.runout(side)
		q := e.size(2 * m.rimRadius(f.scene, side))
		r.Runout = append(r.Runout, Runout{Side: side.String(), PeakToPeakMm: q, RimBrake: against(q, runoutLimitsMm[0]), OtherBrake: against(q, runoutLimitsMm[1])})
	}
	taken := "turned_on_the_spot"
	for state := range f.scene.Changes {
		if f.scene.rolled(state) {
			taken = "rolled"
		}
	}
	r.Notes = append(r.Notes,
		Message{"positions", Params{"positions": len(f.scene.Changes)}},
		Message{taken, Params{"degrees": 2 * turnSigmaRad * degPerRad}})
	if p.doubt > 1 {
		r.Notes = append(r.Notes, Message{"positions_in_doubt", Params{"times": p.doubt}})
	}
}

// against compares a value with the most that is allowed.
func against(q Quantity, limit float64) string {
	switch {
	case q.High95 <= limit:
		return "within"
	case q.Low95 > limit:
		return "beyond"
	}
	return "open"
}

// lean is a small angle between two axes as a vector: by heading and by tilt.
type lean struct {
	value      [2]float64
	covariance [3]float64 // of the first, of both, of the second
}

// zSquared is its distance from zero by its covariance, χ² distributed with two degrees of
// freedom where it is zero.
func (e *lean) zSquared() float64 {
	a, b, c := e.covariance[0], e.covariance[1], e.covariance[2]
	x, y := e.value[0], e.value[1]
	return (c*x*x - 2*b*x*y + a*y*y) / (a*c - b*b)
}

// real says whether it can be told from zero, with 95 % confidence.
func (e *lean) real() bool { return e.zSquared() > distuv.ChiSquared{K: 2}.Quantile(coverage) }

// size is the lean's size times a length, in mm. A size is never negative and so
// comes out too large where it is small: its uncertainty is that along the direction least
// known, and its interval reaches down to zero unless the lean can be told from it.
func (e *lean) size(mm float64) Quantity {
	a, b, c := e.covariance[0], e.covariance[1], e.covariance[2]
	worst := math.Sqrt((a+c)/2 + math.Hypot((a-c)/2, b))
	q := quantity(mm*math.Hypot(e.value[0], e.value[1]), mm*worst)
	if q.Low95 = max(0, q.Low95); !e.real() {
		q.Low95 = 0
	}
	return q
}

// jointCovariance is of some quantities of the scene together, residuals considered.
func (f *fitted) jointCovariance(n int, of func(s *Scene, i int) float64) *mat.SymDense {
	gradients := mat.NewDense(n, f.adjustment.layout.n, nil)
	for i := range n {
		gradients.SetRow(i, f.gradient(func(s *Scene) float64 { return of(s, i) }))
	}
	c := carried(gradients, f.covariance())
	c.ScaleSym(f.inflation()*f.inflation(), c)
	return c
}
