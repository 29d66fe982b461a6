package vision

import (
	"math"

	"rimpair/calib"
)

// Ellipse in a picture, in pixels. A ≥ B > 0 are the semi-axes, AngleRad in
// (−π/2, π/2] turns from the picture's x axis to A's direction, towards y.
type Ellipse struct {
	X, Y, A, B float64
	AngleRad   float64
}

// Conic holds the coefficients of a x² + b xy + c y² + d x + e y + f = 0.
type Conic [6]float64

// At is the ellipse's point at parameter t, in radians from the end of A.
func (e Ellipse) At(tRad float64) calib.Point {
	return e.point(e.A*math.Cos(tRad), e.B*math.Sin(tRad))
}

// point leads from the axes' frame into the picture.
func (e Ellipse) point(u, v float64) calib.Point {
	sin, cos := math.Sincos(e.AngleRad)
	return calib.Point{X: e.X + cos*u - sin*v, Y: e.Y + sin*u + cos*v}
}

// local leads from the picture into the axes' frame.
func (e Ellipse) local(p calib.Point) (u, v float64) {
	sin, cos := math.Sincos(e.AngleRad)
	x, y := p.X-e.X, p.Y-e.Y
	return cos*x + sin*y, cos*y - sin*x
}

// Distance from the ellipse to p, positive outside, with an error below 1e-14 of A.
func (e Ellipse) Distance(p calib.Point) float64 {
	u, v := e.local(p)
	nu, nv := e.nearest(u, v)
	d := math.Hypot(u-nu, v-nv)
	if e.inside(u, v) {
		return -d
	}
	return d
}

// Nearest is the ellipse's point nearest to p; of several, one.
func (e Ellipse) Nearest(p calib.Point) calib.Point {
	return e.point(e.nearest(e.local(p)))
}

func (e Ellipse) inside(u, v float64) bool {
	return (u/e.A)*(u/e.A)+(v/e.B)*(v/e.B) < 1
}

// nearest works in the axes' frame. The foot of the perpendicular from (u, v) is
// (A²u/(w + A² − B²), B²v/w) where w > 0 solves
//
//	F(w) = (A u/(w + A² − B²))² + (B v/w)² = 1,
//
// (Eberly, "Distance from a point to an ellipse, an ellipsoid, or a
// hyperellipsoid", 2013). Lengths are counted in B here.
func (e Ellipse) nearest(u, v float64) (float64, float64) {
	ratio := e.A / e.B
	excess := ratio*ratio - 1
	x, y := math.Abs(u)/e.B, math.Abs(v)/e.B
	var nx, ny float64
	switch {
	case y > onAxis:
		w := nearestRoot(ratio*x, y, excess)
		nx, ny = ratio*ratio*x/(w+excess), y/w
	case ratio*x < excess: // on the long axis, within the centres of curvature
		nx = ratio * ratio * x / excess
		ny = math.Sqrt(max(0, 1-nx*nx/(ratio*ratio)))
	default:
		nx = ratio
	}
	return math.Copysign(nx*e.B, u), math.Copysign(ny*e.B, v)
}

// onAxis is a distance from the axis that is none: smaller numbers have few digits.
const onAxis = 1e-290

// nearestRoot solves (zx/(w+excess))² + (zy/w)² = 1 for w > 0 by Newton's method.
// The left side is convex and falls, so that from a start below the root w only
// rises, until rounding ends it. Either term alone is 1 at the start or below.
func nearestRoot(zx, zy, excess float64) float64 {
	w := max(zy, zx-excess)
	for {
		a, b := zx/(w+excess), zy/w
		a, b = a*a, b*b
		next := w + (a+b-1)/(2*(a/(w+excess)+b/w))
		if !(next > w) {
			return w
		}
		w = next
	}
}

// Conic is the ellipse's equation, scaled so that it is −1 at the centre: there
// negative, and (distance/semi-axis)² − 1 on the axes.
func (e Ellipse) Conic() Conic {
	sin, cos := math.Sincos(e.AngleRad)
	p, q := 1/(e.A*e.A), 1/(e.B*e.B)
	a := p*cos*cos + q*sin*sin
	b := 2 * (p - q) * sin * cos
	c := p*sin*sin + q*cos*cos
	d := -2*a*e.X - b*e.Y
	f := -b*e.X - 2*c*e.Y
	return Conic{a, b, c, d, f, a*e.X*e.X + b*e.X*e.Y + c*e.Y*e.Y - 1}
}

// Ellipse returns centre, axes and angle; ok is false when the conic is no real
// ellipse.
func (c Conic) Ellipse() (e Ellipse, ok bool) {
	det := 4*c[0]*c[2] - c[1]*c[1]
	if !(det > 0) {
		return Ellipse{}, false
	}
	e.X = (c[1]*c[4] - 2*c[2]*c[3]) / det
	e.Y = (c[1]*c[3] - 2*c[0]*c[4]) / det
	// The value at the centre makes the quadratic part's scale.
	scale := -(c[5] + (c[3]*e.X+c[4]*e.Y)/2)
	s := shape{c[0] / scale, c[1] / 2 / scale, c[2] / scale}
	p, q := s.values() // 1/B² and 1/A²
	if !(q > 0) || math.IsInf(p, 0) {
		return Ellipse{}, false
	}
	e.A, e.B = 1/math.Sqrt(q), 1/math.Sqrt(p)
	e.AngleRad = foldAngle(s.angleRad() + math.Pi/2)
	return e, true
}

// at is the conic's value at p.
func (c Conic) at(p calib.Point) float64 {
	return p.X*(c[0]*p.X+c[1]*p.Y+c[3]) + p.Y*(c[2]*p.Y+c[4]) + c[5]
}

// sampson is the distance from the conic to p to first order: value over slope
// (Sampson, "Fitting conic sections to very scattered data", 1982).
func (c Conic) sampson(p calib.Point) float64 {
	gx := 2*c[0]*p.X + c[1]*p.Y + c[3]
	gy := c[1]*p.X + 2*c[2]*p.Y + c[4]
	return c.at(p) / math.Hypot(gx, gy)
}

// shape is a symmetric 2 × 2 matrix. An ellipse is centre + S·u over the unit
// circle's u with S = R·diag(A, B)·Rᵀ, which, unlike axes and angle, moves
// smoothly when the ellipse passes through a circle.
type shape struct{ xx, xy, yy float64 }

func (e Ellipse) shape() shape {
	sin, cos := math.Sincos(e.AngleRad)
	return shape{
		e.A*cos*cos + e.B*sin*sin,
		(e.A - e.B) * sin * cos,
		e.A*sin*sin + e.B*cos*cos,
	}
}

// values are the eigenvalues, the larger first.
func (s shape) values() (large, small float64) {
	mean, half := (s.xx+s.yy)/2, (s.xx-s.yy)/2
	radius := math.Hypot(half, s.xy)
	large = mean + radius
	if mean > 0 {
		// The product of both is the determinant: no digits lost in mean − radius.
		return large, (s.xx*s.yy - s.xy*s.xy) / large
	}
	return large, mean - radius
}

// angleRad is the direction of the eigenvector of the larger value.
func (s shape) angleRad() float64 {
	return math.Atan2(2*s.xy, s.xx-s.yy) / 2
}

// ellipse is that of the shape about a centre; ok is false when the shape has a
// value that is not positive.
func (s shape) ellipse(x, y float64) (e Ellipse, ok bool) {
	a, b := s.values()
	return Ellipse{X: x, Y: y, A: a, B: b, AngleRad: foldAngle(s.angleRad())}, b > 0
}

// foldAngle brings a direction without sign into (−π/2, π/2].
func foldAngle(rad float64) float64 {
	rad = math.Mod(rad, math.Pi)
	switch {
	case rad > math.Pi/2:
		return rad - math.Pi
	case rad <= -math.Pi/2:
		return rad + math.Pi
	}
	return rad
}
