package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// This file computes what the vehicle's people ask for from an adjusted scene.

// rimHeadingRad is the heading of a rim's rolling direction.
func (w *Wheel) rimHeadingRad() float64 {
	heading, _ := rolled(w.RimHeadingRad, w.RimTiltRad, w.turnRad)
	return w.HeadingRad + heading
}

// rimTiltRad is the tilt of a rim's axle.
func (w *Wheel) rimTiltRad() float64 {
	_, tilt := rolled(w.RimHeadingRad, w.RimTiltRad, w.turnRad)
	return w.TiltRad + tilt
}

// toeRad is a wheel's toe against the line that bisects the pair: half of what
// their headings differ by. With several positions of the wheels it is the axles'.
func (m *set) toeRad(s *Scene) float64 {
	if m.positions != nil {
		return m.positions.toeRad(s)
	}
	return s.toeIn(0)
}

// toeIn is the rims' toe as they stood in a state.
func (s *Scene) toeIn(state int) float64 {
	return (s.wheelIn(state, Right).rimHeadingRad() - s.wheelIn(state, Left).rimHeadingRad()) / 2
}

// rimRadius of a wheel: of the edge that was seen, the inboard one first.
func (m *set) rimRadius(s *Scene, side Side) float64 {
	for _, face := range [2]Face{side.inboard(), 1 - side.inboard()} {
		if m.rims[side][face].found {
			return s.Wheels[side].Rim[face].Radius + s.Wheels[side].Lip
		}
	}
	return m.knowledge.rims[side] + flangeHeightMm
}

// rimsMm is the sum of both rims' diameters.
func (m *set) rimsMm(s *Scene) float64 { return 2 * (m.rimRadius(s, Left) + m.rimRadius(s, Right)) }

// totalToeMm is the distance of the rims at hub height at the rear less that at
// the front.
func (m *set) totalToeMm(s *Scene) float64 {
	return m.rimsMm(s) * math.Sin(m.toeRad(s))
}

func (m *set) camberRad(s *Scene, side Side) float64 {
	if m.positions != nil {
		return -side.sign() * m.positions.tiltRad(s, side)
	}
	return -side.sign() * s.Wheels[side].rimTiltRad()
}

// A tape is held against the crests of the rims' inner lips. Where those lie along the axle
// the photos show only roughly: the edge that is seen may be the crest, the lip's far side
// against the tyre or a step in its wall, and where light from above shades the lip off it
// lies up to its thickness further in. Both rims being alike, the crest is taken as a mean,
// by variances, of where it usually lies and of the edges that were seen.

// crestEdgeSigmaMm is how far an edge that was taken for the crest may lie from it along the
// axle: a lip is about 2 mm thick, as is the step of a brake track beside it.
const crestEdgeSigmaMm = 1.5

// crest is how far the inner lips' crests lie from the rims' middle planes, mm, and the
// variance of that, whatever the edges' own places are worth.
func (m *set) crest(s *Scene) (mm, variance float64) {
	weight := 1 / (rimOffsetSigmaMm * rimOffsetSigmaMm)
	sum := (rimOffsetMm - lipMm) * weight
	for side := range s.Wheels {
		if face := Side(side).inboard(); m.rims[side][face].found {
			const seen = 1 / (crestEdgeSigmaMm * crestEdgeSigmaMm)
			sum += face.sign() * s.Wheels[side].Rim[face].Offset * seen
			weight += seen
		}
	}
	return sum / weight, 1 / weight
}

// tapePoints are where a tape is held at hub height, front and rear.
func (m *set) tapePoints(s *Scene, side Side) (front, rear r3.Vec) {
	w := &s.Wheels[side]
	rim := w.rimAxes()
	crest, _ := m.crest(s)
	offset := side.inboard().sign() * crest
	radius := m.rimRadius(s, side)
	centre := w.rimCentre(rim)
	return rim.place(centre, bodyPoint{forward: radius, axle: offset}),
		rim.place(centre, bodyPoint{forward: -radius, axle: offset})
}

// gapMm is what a tape reads between the rims' inner edges at hub height, across
// the vehicle.
func (m *set) gapMm(s *Scene, front bool) float64 {
	leftFront, leftRear := m.tapePoints(s, Left)
	rightFront, rightRear := m.tapePoints(s, Right)
	if front {
		return r3.Norm(r3.Sub(rightFront, leftFront))
	}
	return r3.Norm(r3.Sub(rightRear, leftRear))
}

// gap is gapMm with its uncertainty: each rim's crest shortens it.
func (m *set) gap(f *fitted, front bool) Quantity {
	_, variance := m.crest(f.scene)
	return f.quantity(func(s *Scene) float64 { return m.gapMm(s, front) }, 2*math.Sqrt(variance))
}

// trackMm is the distance of the rims' middles at hub height, across the vehicle.
func (m *set) trackMm(s *Scene) float64 {
	l, r := &s.Wheels[Left], &s.Wheels[Right]
	across := r3.Sub(r.rimCentre(r.rimAxes()), l.rimCentre(l.rimAxes()))
	return math.Hypot(across.X, across.Y)
}

func (m *set) hubHeightMm(s *Scene) float64 {
	return (s.Wheels[Left].Centre.Z + s.Wheels[Right].Centre.Z) / 2
}

// gradient is how a quantity moves with the unknowns, by central differences over
// a hundredth of each unknown's standard uncertainty.
func (f *fitted) gradient(quantity func(*Scene) float64) []float64 {
	n := f.adjustment.layout.n
	g := make([]float64, n)
	delta := make([]float64, n)
	for i := range g {
		h := 0.01 * math.Sqrt(f.covariance().At(i, i))
		delta[i] = h
		up := quantity(f.adjustment.layout.plus(f.scene, delta))
		delta[i] = -h
		down := quantity(f.adjustment.layout.plus(f.scene, delta))
		delta[i] = 0
		g[i] = (up - down) / (2 * h)
	}
	return g
}

// variance of a quantity with this gradient.
func variance(covariance mat.Symmetric, gradient []float64) float64 {
	g := mat.NewVecDense(len(gradient), gradient)
	return mat.Inner(g, covariance, g)
}
