package samples

import (
	"math"
	"math/rand/v2"
)

// Wheel is a wheel's true geometry. Toe and camber are the axle's.
type Wheel struct {
	Side      Side
	Hub       vec
	ToeDeg    float64 // of the rear wheel: its heading, positive to the left
	CamberDeg float64

	BeadSeatMm, RimDiameterMm, RimWidthMm float64
	TyreWidthMm, TyreDiameterMm           float64

	RunoutMm, WobbleMm             float64 // peak to peak, at the rim's and the tyre's diameter
	RunoutPhaseDeg, WobblePhaseDeg float64 // where on the wheel, with the valve at the top
}

// Axle is the axis that the wheel spins about.
func (w Wheel) Axle() vec {
	heading := w.Side.outward() * radians(w.ToeDeg)
	up := -w.Side.outward() * radians(w.CamberDeg)
	return vec{X: math.Cos(heading) * math.Cos(up), Y: math.Sin(heading) * math.Cos(up), Z: math.Sin(up)}
}

// RimAxis is the rim's axis when the wheel is turned by so many degrees from
// valve on top.
func (w Wheel) RimAxis(turnDeg float64) vec {
	return tilt(w.Axle(), w.RunoutMm/w.RimDiameterMm, w.RunoutPhaseDeg+turnDeg)
}

// TyreAxis is the tyre's axis: it wobbles about the rim's.
func (w Wheel) TyreAxis(turnDeg float64) vec {
	return tilt(w.RimAxis(turnDeg), w.WobbleMm/w.TyreDiameterMm, w.WobblePhaseDeg+turnDeg)
}

// tilt leans an axis by the angle whose tangent is given.
func tilt(axis vec, tangent, phaseDeg float64) vec {
	f := axesAbout(vec{}, axis, vec{Z: 1})
	sin, cos := math.Sincos(radians(phaseDeg))
	return unit(plus(f.w, times(tangent, plus(times(cos, f.u), times(sin, f.v)))))
}

// truth writes the wheel down as it stands.
func (w Wheel) truth(turnDeg float64) WheelTruth {
	t := newWheelTruth(w.Side, w.Hub, w.Axle(), w.RimAxis(turnDeg), w.TyreAxis(turnDeg))
	t.RimDiameterMm, t.RimWidthMm, t.BeadSeatMm = w.RimDiameterMm, w.RimWidthMm, w.BeadSeatMm
	t.TyreDiameterMm, t.TyreWidthMm = w.TyreDiameterMm, w.TyreWidthMm
	t.RunoutMm, t.WobbleMm = w.RunoutMm, w.WobbleMm
	return t
}

// Vehicle is an invented recumbent tricycle: two steered wheels in front.
type Vehicle struct {
	Left, Right, Rear Wheel
	SteerDeg          float64 // common steering angle, positive to the left
}

// State is the truth with the wheels turned by so many degrees from valve on top.
func (v Vehicle) State(turnDeg float64) StateTruth {
	s := newStateTruth(v.Left.truth(turnDeg), v.Right.truth(turnDeg), v.Rear.truth(turnDeg))
	s.SteerDeg = v.SteerDeg
	return s
}

func uniform(g *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*g.Float64() }

func pick[T any](g *rand.Rand, of ...T) T { return of[g.IntN(len(of))] }

// tyresFor lists the tyre widths sold for a bead seat diameter that leave a front
// wheel of 385 to 510 mm; common practice, no source.
func tyresFor(bead float64) []float64 {
	var fit []float64
	for _, width := range []float64{28, 32, 35, 37, 40, 47, 50} {
		if d := bead + 2*width; d >= 385 && d <= 510 {
			fit = append(fit, width)
		}
	}
	return fit
}

// newVehicle draws a vehicle. A tyre of width w on bead seat diameter d stands w
// high, so its outer diameter is d + 2w.
func newVehicle(g *rand.Rand) Vehicle {
	bead := pick(g, 305., 349, 406, 406, 406, 451)
	rim := Wheel{
		BeadSeatMm:    bead,
		RimDiameterMm: bead + uniform(g, 11, 13),
		RimWidthMm:    pick(g, 24., 26, 28, 30),
		TyreWidthMm:   pick(g, tyresFor(bead)...),
	}
	rim.TyreDiameterMm = bead + 2*rim.TyreWidthMm
	toe := degrees(math.Asin(uniform(g, -6, 6) / (2 * rim.RimDiameterMm)))
	steer := uniform(g, -1.5, 1.5)
	uneven := uniform(g, -0.05, 0.05)
	camber := uniform(g, -3.6, 1.2)
	track := uniform(g, 720, 850)

	front := func(side Side) Wheel {
		w := rim
		w.Side = side
		w.ToeDeg = toe + side.outward()*(steer+uneven)
		w.CamberDeg = camber + uniform(g, -0.3, 0.3)
		w.RunoutMm, w.RunoutPhaseDeg = min(math.Abs(g.NormFloat64())*0.45, 1.5), uniform(g, 0, 360)
		w.WobbleMm, w.WobblePhaseDeg = min(math.Abs(g.NormFloat64())*0.4, 1.1), uniform(g, 0, 360)
		// The tyre's foot is flattened by the sag.
		sag := uniform(g, 1.5, 3)
		w.Hub = vec{
			X: side.outward() * (track/2 + uniform(g, -3, 3)),
			Y: uniform(g, -2.5, 2.5),
			Z: w.TyreDiameterMm/2*math.Cos(radians(w.CamberDeg)) - sag,
		}
		return w
	}
	v := Vehicle{Left: front(Left), Right: front(Right), SteerDeg: steer}

	v.Rear = rim
	v.Rear.Side = Rear
	v.Rear.BeadSeatMm = pick(g, 406., 507, 559)
	v.Rear.RimDiameterMm = v.Rear.BeadSeatMm + rim.RimDiameterMm - bead
	v.Rear.TyreDiameterMm = v.Rear.BeadSeatMm + 2*rim.TyreWidthMm
	v.Rear.ToeDeg, v.Rear.CamberDeg = uniform(g, -0.6, 0.6), uniform(g, -0.7, 0.7)
	v.Rear.RunoutMm, v.Rear.RunoutPhaseDeg = uniform(g, 0, 0.5), uniform(g, 0, 360)
	v.Rear.Hub = vec{X: uniform(g, -5, 5), Y: -uniform(g, 960, 1100), Z: v.Rear.TyreDiameterMm/2 - 2}
	return v
}
