package vision

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// A circle is seen along a cone of rays, xᵀQx = 0. Its plane cuts the cone in a
// circle, and there are two such families of planes: one ellipse has two circles.
// The centre of the circle in the plane nᵀx = d is the pole of the plane's
// direction, d·Q⁻¹n/(nᵀQ⁻¹n), which pairs each normal with its own centre. The
// ellipse's centre is the picture of neither.

// CirclePose is a circle's centre (mm) and unit normal in camera coordinates; the
// normal points to the camera's side.
type CirclePose struct{ Centre, Normal r3.Vec }

// ErrNoCircle says that the ellipse is no picture of a circle before the camera,
// or that the circle has no ellipse for a picture.
var ErrNoCircle = errors.New("no circle before the camera")

// CirclePoses returns the two circles of the given radius whose picture is the
// ellipse, in pixels free of distortion: the camera's own k1 to k3 do not enter.
// Where they coincide, a circle seen straight on, their normals' error is the
// square root of the ellipse's.
func CirclePoses(e Ellipse, camera calib.Camera, radiusMm float64) ([2]CirclePose, error) {
	if !(e.A >= e.B && e.B > 0 && radiusMm > 0) {
		return [2]CirclePose{}, ErrNoCircle
	}
	// The cone in rays (x, y, 1): the ellipse counted in focal lengths.
	ideal := Ellipse{
		X: (e.X - camera.Cx) / camera.F, Y: (e.Y - camera.Cy) / camera.F,
		A: e.A / camera.F, B: e.B / camera.F, AngleRad: e.AngleRad,
	}
	q := ideal.Conic().matrix()
	var eigen mat.EigenSym
	if !eigen.Factorize(q, true) {
		return [2]CirclePose{}, ErrNoCircle
	}
	v := eigen.Values(nil) // ascending: v[0] < 0 < v[1] ≤ v[2]
	var axes mat.Dense
	eigen.VectorsTo(&axes)
	// In the cone's axes the normal has no part along the middle one.
	along := math.Sqrt((v[1] - v[0]) / (v[2] - v[0]))
	across := math.Sqrt(max(0, v[2]-v[1]) / (v[2] - v[0]))
	axis := func(k int) r3.Vec { return r3.Vec{X: axes.At(0, k), Y: axes.At(1, k), Z: axes.At(2, k)} }
	var poses [2]CirclePose
	for i, sign := range []float64{1, -1} {
		n := r3.Add(r3.Scale(along, axis(0)), r3.Scale(sign*across, axis(2)))
		// Q⁻¹n in the same axes, and nᵀQ⁻¹n < 0.
		pole := r3.Add(r3.Scale(along/v[0], axis(0)), r3.Scale(sign*across/v[2], axis(2)))
		dot := r3.Dot(n, pole)
		// A point centre + r·t with t ⟂ n is on the cone: r²·v[1] = −d²/dot.
		d := radiusMm * math.Sqrt(-v[1]*dot)
		centre := r3.Scale(d/dot, pole)
		if centre.Z < 0 {
			centre = r3.Scale(-1, centre)
		}
		if r3.Dot(n, centre) > 0 {
			n = r3.Scale(-1, n)
		}
		poses[i] = CirclePose{Centre: centre, Normal: n}
	}
	return poses, nil
}

// CircleEllipse is the picture of a circle, in pixels free of distortion.
func CircleEllipse(p CirclePose, camera calib.Camera, radiusMm float64) (Ellipse, error) {
	// The whole circle lies before the camera: its point nearest to the plane z = 0.
	n := r3.Unit(p.Normal)
	if p.Centre.Z-radiusMm*math.Hypot(n.X, n.Y) <= 0 {
		return Ellipse{}, ErrNoCircle
	}
	// The ray x meets the plane at x·(n·c)/(n·x), which is a radius from c where
	// |(n·c)x − (n·x)c|² = r²(n·x)².
	h := r3.Dot(n, p.Centre)
	c, k := p.Centre, r3.Norm2(p.Centre)-radiusMm*radiusMm
	entry := func(same, ni, nj, ci, cj float64) float64 {
		return h*h*same - h*(ni*cj+ci*nj) + k*ni*nj
	}
	conic := Conic{
		entry(1, n.X, n.X, c.X, c.X), 2 * entry(0, n.X, n.Y, c.X, c.Y), entry(1, n.Y, n.Y, c.Y, c.Y),
		2 * entry(0, n.X, n.Z, c.X, c.Z), 2 * entry(0, n.Y, n.Z, c.Y, c.Z), entry(1, n.Z, n.Z, c.Z, c.Z),
	}
	e, ok := conic.Ellipse()
	if !ok { // seen edge-on
		return Ellipse{}, ErrNoCircle
	}
	return Ellipse{
		X: camera.F*e.X + camera.Cx, Y: camera.F*e.Y + camera.Cy,
		A: camera.F * e.A, B: camera.F * e.B, AngleRad: e.AngleRad,
	}, nil
}

// matrix is the conic as a quadratic form of (x, y, 1).
func (c Conic) matrix() *mat.SymDense {
	return mat.NewSymDense(3, []float64{
		c[0], c[1] / 2, c[3] / 2,
		c[1] / 2, c[2], c[4] / 2,
		c[3] / 2, c[4] / 2, c[5],
	})
}
