package calib

import "gonum.org/v1/gonum/spatial/r3"

// Camera is a lens and its sensor: OpenCV's model with square pixels. F, Cx, Cy
// are in pixels, the distortion coefficients have no unit.
type Camera struct {
	F, Cx, Cy          float64
	K1, K2, P1, P2, K3 float64
}

// NumIntrinsics is how many numbers a camera has, in the order of Numbers and of
// Jacobian's columns.
const NumIntrinsics = 8

// IntrinsicNames are their names in that order.
func IntrinsicNames() [NumIntrinsics]string {
	return [...]string{"f", "cx", "cy", "k1", "k2", "p1", "p2", "k3"}
}

// Numbers are the camera's numbers, to read or to move.
func (c *Camera) Numbers() [NumIntrinsics]*float64 {
	return [...]*float64{&c.F, &c.Cx, &c.Cy, &c.K1, &c.K2, &c.P1, &c.P2, &c.K3}
}

// Point is a place in a picture, in pixels; the centre of the top left pixel is (0, 0).
type Point struct{ X, Y float64 }

// minDepth keeps points at or behind the camera from being projected, in mm.
const minDepth = 1

// Project returns the picture of a point in camera coordinates; ok is false
// when the point is not in front of the camera.
func (c Camera) Project(v r3.Vec) (p Point, ok bool) {
	if v.Z < minDepth {
		return Point{}, false
	}
	a, b := c.distort(v.X/v.Z, v.Y/v.Z)
	return Point{c.F*a + c.Cx, c.F*b + c.Cy}, true
}

func (c Camera) distort(a, b float64) (float64, float64) {
	s := a*a + b*b
	radial := 1 + s*(c.K1+s*(c.K2+s*c.K3))
	return a*radial + 2*c.P1*a*b + c.P2*(s+2*a*a),
		b*radial + c.P1*(s+2*b*b) + 2*c.P2*a*b
}

// Jacobian holds the derivatives of a projected point.
type Jacobian struct {
	Point      [2][3]float64             // by the point in camera coordinates
	Intrinsics [2][NumIntrinsics]float64 // by f, cx, cy, k1, k2, p1, p2, k3
}

// ProjectJacobian is Project with its derivatives.
func (c Camera) ProjectJacobian(v r3.Vec) (p Point, j Jacobian, ok bool) {
	if v.Z < minDepth {
		return Point{}, Jacobian{}, false
	}
	iz := 1 / v.Z
	a, b := v.X*iz, v.Y*iz
	s := a*a + b*b
	radial := 1 + s*(c.K1+s*(c.K2+s*c.K3))
	slope := c.K1 + s*(2*c.K2+s*3*c.K3) // d radial / d s
	da, db := c.distort(a, b)
	p = Point{c.F*da + c.Cx, c.F*db + c.Cy}

	// Derivatives of the distorted by the ideal coordinates.
	daa := radial + 2*a*a*slope + 2*c.P1*b + 6*c.P2*a
	dab := 2*a*b*slope + 2*c.P1*a + 2*c.P2*b
	dbb := radial + 2*b*b*slope + 6*c.P1*b + 2*c.P2*a
	f := c.F * iz
	j.Point = [2][3]float64{
		{f * daa, f * dab, -f * (daa*a + dab*b)},
		{f * dab, f * dbb, -f * (dab*a + dbb*b)},
	}
	j.Intrinsics = [2][NumIntrinsics]float64{
		{da, 1, 0, c.F * a * s, c.F * a * s * s, c.F * 2 * a * b, c.F * (s + 2*a*a), c.F * a * s * s * s},
		{db, 0, 1, c.F * b * s, c.F * b * s * s, c.F * (s + 2*b*b), c.F * 2 * a * b, c.F * b * s * s * s},
	}
	return p, j, true
}

// Ray returns the direction, in camera coordinates with z = 1, of the ray that
// falls on p. It inverts the distortion by Newton's method; ok is false where
// the model is not invertible (far outside the picture).
func (c Camera) Ray(p Point) (ray r3.Vec, ok bool) {
	ta, tb := (p.X-c.Cx)/c.F, (p.Y-c.Cy)/c.F
	a, b := ta, tb
	for range 20 {
		q, j, _ := c.ProjectJacobian(r3.Vec{X: a, Y: b, Z: minDepth})
		ex, ey := p.X-q.X, p.Y-q.Y
		det := j.Point[0][0]*j.Point[1][1] - j.Point[0][1]*j.Point[1][0]
		if det <= 0 {
			return r3.Vec{}, false
		}
		a += (j.Point[1][1]*ex - j.Point[0][1]*ey) / det
		b += (j.Point[0][0]*ey - j.Point[1][0]*ex) / det
		if ex*ex+ey*ey < 1e-18 {
			return r3.Vec{X: a, Y: b, Z: 1}, true
		}
	}
	return r3.Vec{}, false
}
