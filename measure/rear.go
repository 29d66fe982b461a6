package measure

import (
	"math"
	"path/filepath"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// This file says what the rear wheel means for the vehicle.
//
// The vehicle's centreline runs, seen from above, from the rear wheel's centre to the
// middle of the track. It is the frame's: a rear wheel that stands askew in it turns the
// thrust line, the way that the rear wheel rolls, and leaves the centreline where it is.
// Steering is off centre by the angle of the front pair's bisector against it, and each
// front wheel's own toe is against it.
//
// The front wheels' solution is not touched by the rear wheel: cameras are held where it
// put them. How the rear wheel's numbers y follow from all numbers x held is known to
// first order, S = ∂y/∂x = −C_y J_yᵀ W J_x, which carries the covariance of x over to y:
//
//	cov(y) = C_y + S C_x Sᵀ,  cov(y, x) = S C_x.

// RearResult is the rear wheel against the front pair. Angles and offsets are positive to
// the right, seen from above and by the rider.
type RearResult struct {
	// ThrustDeg is the direction in which the rear wheel rolls against the front pair's
	// bisector, ThrustMm what that makes sideways over the wheelbase.
	ThrustDeg Quantity `json:"thrust_deg"`
	ThrustMm  Quantity `json:"thrust_mm"`
	LeanDeg   Quantity `json:"lean_deg"` // of its top
	// OffsetMm is how far beside the middle of the front wheels' tracks the rear wheel runs
	// when the vehicle rolls along its thrust line.
	OffsetMm       Quantity `json:"offset_mm"`
	SteeringOffDeg Quantity `json:"steering_off_deg"` // the bisector against the centreline
	WheelbaseMm    Quantity `json:"wheelbase_mm"`
	// StraightTotalToeMm is total toe with the steering straight ahead, as far as the
	// linkage meets Ackermann's condition.
	StraightTotalToeMm Quantity `json:"straight_total_toe_mm"`
	Photo              string   `json:"photo"` // that shows it
	TyrePoints         int      `json:"tyre_points"`
	TyreRmsPx          float64  `json:"tyre_rms_px"`
}

// behindFront sets the covariance of the front solution's unknowns and, after them, of the
// rear tyre's numbers.
func (r *rearWheel) behindFront(f *fitted, own *Solution[*Scene]) {
	n := f.adjustment.layout.n
	a := r.adjustment
	a.priors = nil
	a.layout = f.adjustment.layout
	for side := range a.layout.wheels {
		for k := range a.layout.wheels[side] {
			a.layout.wheels[side][k] = fixed
		}
	}
	for k := range tyreNumbers {
		a.layout.wheels[Left][k] = n + k
	}
	normal := mat.NewDense(tyreNumbers, n, nil) // J_yᵀ W J_x
	a.rows(r.scene, func(row Row) {
		_, weight := row.Loss.at(row.Residual)
		for i, c := range row.Cols {
			for j, e := range row.Cols {
				if c >= n && e < n {
					normal.Set(c-n, e, normal.At(c-n, e)+weight*row.Derivs[i]*row.Derivs[j])
				}
			}
		}
	})
	front := mat.NewSymDense(n, nil)
	front.ScaleSym(f.inflation()*f.inflation(), f.covariance())
	var follows, with mat.Dense // S, S C_x
	follows.Mul(own.Covariance, normal)
	follows.Scale(-1, &follows)
	with.Mul(&follows, front)
	behind := carried(&follows, front)
	inflation := max(1, 2*own.Cost/float64(max(1, own.Rows-tyreNumbers)))
	r.covariance = mat.NewSymDense(n+tyreNumbers, nil)
	for i := range n + tyreNumbers {
		for j := i; j < n+tyreNumbers; j++ {
			switch {
			case j < n:
				r.covariance.SetSym(i, j, front.At(i, j))
			case i < n:
				r.covariance.SetSym(i, j, with.At(j-n, i))
			default:
				r.covariance.SetSym(i, j, inflation*own.Covariance.At(i-n, j-n)+behind.At(i-n, j-n))
			}
		}
	}
}

// vehicle is all three wheels as they stood in the state that shows the rear wheel.
type vehicle struct {
	front    *Scene
	rear     *Wheel
	headings [2]float64 // of the front wheels: of the rims, or of their axles where positions tell
}

func (m *set) vehicle(s *Scene, rear *Wheel, state int) vehicle {
	v := vehicle{front: s.inState(state), rear: rear}
	for side := range v.headings {
		if m.positions != nil {
			v.headings[side] = m.positions.headingRad(s, Side(side), state)
		} else {
			v.headings[side] = v.front.Wheels[side].rimHeadingRad()
		}
	}
	return v
}

// rearQuantity evaluates something of all three wheels; beside is what else makes it
// uncertain.
func (m *set) rearQuantity(f *fitted, r *rearWheel, beside float64, of func(vehicle) float64) Quantity {
	size := r.covariance.SymmetricDim()
	n := size - tyreNumbers
	at := func(i int, by float64) float64 {
		var tyre [tyreNumbers]float64
		if i >= n {
			tyre[i-n] = by
			rear := r.movedBy(&tyre)
			return of(m.vehicle(f.scene, &rear, r.state))
		}
		delta := make([]float64, n)
		delta[i] = by
		return of(m.vehicle(f.adjustment.layout.plus(f.scene, delta), &r.Wheel, r.state))
	}
	gradient := make([]float64, size)
	for i := range gradient {
		h := 0.01 * math.Sqrt(r.covariance.At(i, i))
		gradient[i] = (at(i, h) - at(i, -h)) / (2 * h)
	}
	return quantity(of(m.vehicle(f.scene, &r.Wheel, r.state)), math.Sqrt(variance(r.covariance, gradient)+beside*beside))
}

func (v vehicle) bisectorRad() float64 { return (v.headings[Left] + v.headings[Right]) / 2 }

// ahead is from the rear wheel's centre to the middle of the track, seen from above.
func (v vehicle) ahead() r3.Vec {
	l, r := &v.front.Wheels[Left], &v.front.Wheels[Right]
	d := r3.Sub(r3.Scale(0.5, r3.Add(l.rimCentre(l.rimAxes()), r.rimCentre(r.rimAxes()))), v.rear.Centre)
	d.Z = 0
	return d
}

func (v vehicle) wheelbaseMm() float64 { return r3.Norm(v.ahead()) }

func (v vehicle) centrelineRad() float64 {
	d := v.ahead()
	return math.Atan2(-d.X, d.Y)
}

// Headings grow to the left.
func (v vehicle) thrustRad() float64      { return v.bisectorRad() - v.rear.HeadingRad }
func (v vehicle) steeringOffRad() float64 { return v.centrelineRad() - v.bisectorRad() }

func (v vehicle) offsetMm() float64 {
	return -r3.Dot(v.ahead(), newAxes(v.rear.HeadingRad, 0).axle)
}

// toeRad is a front wheel's own, against the centreline.
func (v vehicle) toeRad(side Side) float64 {
	return side.sign() * (v.headings[side] - v.centrelineRad())
}

// axleSigmas are how far the axles' directions may be from those seen, as standard
// uncertainties in radians: of the rear wheel by its run-out, of which only the tyre was
// seen, and of the bisector by that of both rims, or by what several positions leave of it.
// Of a rim that runs out by p over its diameter D, p/D/√2 shows along any direction.
func (m *set) axleSigmas(s *Scene, r *rearWheel) (rear, bisector float64) {
	p := m.settings.RunoutMm / math.Sqrt2
	rear = math.Hypot(p/(2*(r.Ring-r.Tube)), wobbleSigmaRad/wobbleReserve)
	if m.positions != nil {
		return rear, m.positions.restRad(r.state, [2]float64{0.5, 0.5})
	}
	return rear, p / m.rimsMm(s) * math.Sqrt2
}

// ownToe is a front wheel's, against the centreline.
func (m *set) ownToe(f *fitted, r *rearWheel, side Side) Quantity {
	beside := 0.0 // of a rim as it stood
	if m.positions != nil {
		var one [2]float64
		one[side] = 1
		beside = m.positions.restRad(r.state, one)
	}
	return m.rearQuantity(f, r, beside*degPerRad, func(v vehicle) float64 { return v.toeRad(side) * degPerRad })
}

// rearResult is what the rear wheel means; rims is their total toe as they stood.
func (m *set) rearResult(f *fitted, r *rearWheel, rims Quantity) *RearResult {
	rear, bisector := m.axleSigmas(f.scene, r)
	thrust := math.Hypot(rear, bisector)
	wheelbase := m.vehicle(f.scene, &r.Wheel, r.state).wheelbaseMm()
	of := func(beside float64, what func(vehicle) float64) Quantity { return m.rearQuantity(f, r, beside, what) }
	result := &RearResult{
		ThrustDeg:      of(thrust*degPerRad, func(v vehicle) float64 { return v.thrustRad() * degPerRad }),
		ThrustMm:       of(thrust*wheelbase, func(v vehicle) float64 { return v.wheelbaseMm() * math.Sin(v.thrustRad()) }),
		LeanDeg:        of(rear*degPerRad, func(v vehicle) float64 { return -v.rear.TiltRad * degPerRad }),
		OffsetMm:       of(rear*wheelbase, vehicle.offsetMm),
		SteeringOffDeg: of(bisector*degPerRad, func(v vehicle) float64 { return v.steeringOffRad() * degPerRad }),
		WheelbaseMm:    of(0, vehicle.wheelbaseMm),
		Photo:          filepath.Base(m.inputs[r.photo].Photo.Path),
	}
	result.StraightTotalToeMm = m.straightAhead(f.scene, result, rims)
	var fit rms
	for i, o := range r.adjustment.edges {
		if math.Abs(r.residuals[i]) <= tukeyCut*o.sigma {
			fit.weigh(r.residuals[i], o.factor)
		}
	}
	result.TyrePoints, result.TyreRmsPx = fit.n, fit.value()
	return result
}

// rearNotes say what the front wheels' own toe is against, and how far the steering may
// have been from straight ahead where nothing shows it.
func (m *set) rearNotes(rear *RearResult) []Message {
	if rear != nil {
		return []Message{{Code: "centreline"}}
	}
	return []Message{{Code: "pair_only"}, {"steering_assumed", Params{"degrees": m.settings.SteerWithinDeg}}}
}

// mark adds the rear wheel to what is drawn on its photo.
func (r *rearWheel) mark(o *Overlay) {
	for i, e := range r.adjustment.edges {
		o.Edges = append(o.Edges, EdgeMark{At: e.at, Kind: e.kind, Used: math.Abs(r.residuals[i]) <= tukeyCut*e.sigma})
	}
	c := newLocus(&r.Wheel, TyreOuter, 0, r.scene.view(r.photo))
	for _, curve := range c.stretches(Left, drawnSteps, c.rearVisible()) {
		curve.Side = "rear"
		o.Curves = append(o.Curves, curve)
	}
}
