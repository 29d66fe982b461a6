package vision

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
)

// ErrNoEllipse says that the points settle no ellipse: too few, on a line, or on
// another conic.
var ErrNoEllipse = errors.New("the points settle no ellipse")

// ellipseUnknowns are centre x, y and the shape's xx, xy, yy.
const ellipseUnknowns = 5

// FitEllipseDirect is the ellipse of least algebraic distance to the points, with
// 4ac − b² = 1 (Halíř, Flusser, "Numerically stable direct least squares fitting
// of ellipses", 1998). It needs no start and is biased towards small ellipses,
// the more so the shorter the arc: a start for FitEllipse.
func FitEllipseDirect(points []calib.Point) (Ellipse, error) {
	if len(points) < ellipseUnknowns {
		return Ellipse{}, ErrNoEllipse
	}
	frame := newFrame(points)
	if !(frame.scale > 0) || math.IsInf(frame.scale, 0) {
		return Ellipse{}, ErrNoEllipse
	}
	// Scatter of the quadratic (x², xy, y²) and the linear (x, y, 1) part.
	var s1, s2, s3 mat.Dense
	quadratic, linear := mat.NewDense(len(points), 3, nil), mat.NewDense(len(points), 3, nil)
	for i, p := range points {
		x, y := frame.normal(p)
		quadratic.SetRow(i, []float64{x * x, x * y, y * y})
		linear.SetRow(i, []float64{x, y, 1})
	}
	s1.Mul(quadratic.T(), quadratic)
	s2.Mul(quadratic.T(), linear)
	s3.Mul(linear.T(), linear)
	// The linear part follows from the quadratic one: −S3⁻¹·S2ᵀ.
	var follow, reduced mat.Dense
	if err := follow.Solve(&s3, s2.T()); err != nil {
		return Ellipse{}, ErrNoEllipse
	}
	follow.Scale(-1, &follow)
	reduced.Mul(&s2, &follow)
	reduced.Add(&s1, &reduced)
	// Times the inverse of the constraint matrix (0 0 2; 0 −1 0; 2 0 0).
	m := mat.NewDense(3, 3, nil)
	for j := range 3 {
		m.Set(0, j, reduced.At(2, j)/2)
		m.Set(1, j, -reduced.At(1, j))
		m.Set(2, j, reduced.At(0, j)/2)
	}
	var eigen mat.Eigen
	if !eigen.Factorize(m, mat.EigenRight) {
		return Ellipse{}, ErrNoEllipse
	}
	var vectors mat.CDense
	eigen.VectorsTo(&vectors)
	for k := range 3 {
		a, b, c := real(vectors.At(0, k)), real(vectors.At(1, k)), real(vectors.At(2, k))
		if 4*a*c-b*b <= 0 || imag(vectors.At(0, k)) != 0 { // just one satisfies the constraint
			continue
		}
		var rest mat.VecDense
		rest.MulVec(&follow, mat.NewVecDense(3, []float64{a, b, c}))
		if e, ok := (Conic{a, b, c, rest.AtVec(0), rest.AtVec(1), rest.AtVec(2)}).Ellipse(); ok {
			return frame.picture(e), nil
		}
	}
	return Ellipse{}, ErrNoEllipse
}

// frame is a similarity that brings points around the origin with a mean square
// of 1 on each axis, without which the fourth powers of pixels drown the rest.
type frame struct{ x, y, scale float64 }

func newFrame(points []calib.Point) frame {
	var f frame
	n := float64(len(points))
	for _, p := range points {
		f.x += p.X / n
		f.y += p.Y / n
	}
	for _, p := range points {
		f.scale += ((p.X-f.x)*(p.X-f.x) + (p.Y-f.y)*(p.Y-f.y)) / (2 * n)
	}
	f.scale = math.Sqrt(f.scale)
	return f
}

func (f frame) normal(p calib.Point) (x, y float64) {
	return (p.X - f.x) / f.scale, (p.Y - f.y) / f.scale
}

func (f frame) picture(e Ellipse) Ellipse {
	return Ellipse{X: f.x + f.scale*e.X, Y: f.y + f.scale*e.Y, A: f.scale * e.A, B: f.scale * e.B, AngleRad: e.AngleRad}
}
