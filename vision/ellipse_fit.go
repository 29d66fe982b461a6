package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
)

// EllipseFit is a fitted ellipse and how well the points settle it.
type EllipseFit struct {
	Ellipse
	Inliers []bool  // the points that count
	RmsPx   float64 // √(Σd²/(n−5)) of the distances of the n points that count
	// Covariance of X, Y and the entries xx, xy, yy of S = R·diag(A, B)·Rᵀ, with
	// the points' σ from RmsPx. S stays smooth where axes and angle do not: at a
	// circle.
	Covariance *mat.SymDense
}

// AxesCovariance is that of X, Y, A, B and AngleRad. The angle's grows without
// limit as the ellipse becomes a circle.
func (f EllipseFit) AxesCovariance() *mat.SymDense {
	sin, cos := math.Sincos(f.AngleRad)
	// dA = vᵀ·dS·v, dB = wᵀ·dS·w, dAngle = vᵀ·dS·w/(A − B) with v, w along A, B.
	turn := 1 / (f.A - f.B)
	j := mat.NewDense(ellipseUnknowns, ellipseUnknowns, []float64{
		1, 0, 0, 0, 0,
		0, 1, 0, 0, 0,
		0, 0, cos * cos, 2 * sin * cos, sin * sin,
		0, 0, sin * sin, -2 * sin * cos, cos * cos,
		0, 0, -sin * cos * turn, (cos*cos - sin*sin) * turn, sin * cos * turn,
	})
	return propagate(j, f.Covariance)
}

// propagate is j·c·jᵀ.
func propagate(j *mat.Dense, c mat.Symmetric) *mat.SymDense {
	var half, full mat.Dense
	half.Mul(j, c)
	full.Mul(&half, j.T())
	rows, _ := full.Dims()
	out := mat.NewSymDense(rows, nil)
	for i := range rows {
		for k := i; k < rows; k++ {
			out.SetSym(i, k, (full.At(i, k)+full.At(k, i))/2)
		}
	}
	return out
}

// FitEllipse is the ellipse of least sum of squared distances along its normals
// to the points, by Levenberg-Marquardt steps from the direct fit.
func FitEllipse(points []calib.Point) (EllipseFit, error) {
	start, err := FitEllipseDirect(points)
	if err != nil {
		return EllipseFit{}, err
	}
	return refineEllipse(points, start, math.Inf(1))
}

// refineEllipse minimises Σρ(d) over centre and shape from a start, where ρ is
// Tukey's biweight with the given limit; d²/2 when that is infinite.
func refineEllipse(points []calib.Point, start Ellipse, limit float64) (EllipseFit, error) {
	const steps, settled, hopeless = 200, 1e-12, 1e20
	here := newEllipseNormal(points, start, limit)
	damping := 1e-3
	for step := 0; step < steps && damping < hopeless; step++ {
		delta, ok := here.step(damping)
		if !ok {
			damping *= 10
			continue
		}
		moved, ok := here.ellipse.moved(delta)
		if ok && mat.Norm(mat.NewVecDense(len(delta), delta), 2) < settled*here.ellipse.A {
			break
		}
		if ok {
			if trial := newEllipseNormal(points, moved, limit); trial.cost < here.cost {
				here = trial
				damping /= 10
				continue
			}
		}
		damping *= 10
	}
	return here.fit()
}

// moved is the ellipse whose centre and shape differ by δ.
func (e Ellipse) moved(delta []float64) (Ellipse, bool) {
	s := e.shape()
	return shape{s.xx + delta[2], s.xy + delta[3], s.yy + delta[4]}.ellipse(e.X+delta[0], e.Y+delta[1])
}

// ellipseNormal holds the normal equations of the orthogonal distance fit. A
// point's distance along the normal n at its foot c + S·u changes by
// −n·(dc + dS·u).
type ellipseNormal struct {
	ellipse  Ellipse
	matrix   *mat.SymDense
	gradient *mat.VecDense
	cost     float64
	inliers  []bool
	squares  float64 // Σd² of the inliers
	count    int
}

func newEllipseNormal(points []calib.Point, e Ellipse, limit float64) *ellipseNormal {
	n := &ellipseNormal{
		ellipse:  e,
		matrix:   mat.NewSymDense(ellipseUnknowns, nil),
		gradient: mat.NewVecDense(ellipseUnknowns, nil),
		inliers:  make([]bool, len(points)),
	}
	sin, cos := math.Sincos(e.AngleRad)
	for i, p := range points {
		a, b := e.local(p)
		na, nb := e.nearest(a, b)
		d := math.Hypot(a-na, b-nb)
		if e.inside(a, b) {
			d = -d
		}
		weight := 1.0
		if w := d / limit; math.Abs(w) < 1 {
			v := 1 - w*w
			weight = v * v
			n.cost += biweight(d, limit, v)
			n.inliers[i] = true
			n.squares += d * d
			n.count++
		} else {
			n.cost += limit * limit / 6
			continue
		}
		// Unit circle's point and outward normal, axes' frame, then the picture's.
		ua, ub := na/e.A, nb/e.B
		ga, gb := ua/e.A, ub/e.B
		g := math.Hypot(ga, gb)
		ux, uy := cos*ua-sin*ub, sin*ua+cos*ub
		nx, ny := (cos*ga-sin*gb)/g, (sin*ga+cos*gb)/g
		j := mat.NewVecDense(ellipseUnknowns, []float64{-nx, -ny, -nx * ux, -nx*uy - ny*ux, -ny * uy})
		n.matrix.SymRankOne(n.matrix, weight, j)
		n.gradient.AddScaledVec(n.gradient, weight*d, j)
	}
	return n
}

// biweight is Tukey's ρ, which starts as d²/2, with v = 1 − (d/limit)².
func biweight(d, limit, v float64) float64 {
	if math.IsInf(limit, 1) {
		return d * d / 2
	}
	return limit * limit / 6 * (1 - v*v*v)
}

func (n *ellipseNormal) step(damping float64) ([]float64, bool) {
	damped := mat.NewSymDense(ellipseUnknowns, nil)
	damped.CopySym(n.matrix)
	for i := range ellipseUnknowns {
		damped.SetSym(i, i, damped.At(i, i)*(1+damping))
	}
	var factor mat.Cholesky
	if !factor.Factorize(damped) {
		return nil, false
	}
	var delta mat.VecDense
	// The only error is a warning of bad condition, which the cost will judge.
	_ = factor.SolveVecTo(&delta, n.gradient)
	delta.ScaleVec(-1, &delta)
	return delta.RawVector().Data, true
}

func (n *ellipseNormal) fit() (EllipseFit, error) {
	f := EllipseFit{Ellipse: n.ellipse, Inliers: n.inliers}
	if n.count < ellipseUnknowns {
		return f, ErrNoEllipse
	}
	var factor mat.Cholesky
	if !factor.Factorize(n.matrix) || factor.Cond() > 1e14 {
		return f, ErrNoEllipse
	}
	f.Covariance = mat.NewSymDense(ellipseUnknowns, nil)
	if err := factor.InverseTo(f.Covariance); err != nil {
		return f, ErrNoEllipse
	}
	if n.count > ellipseUnknowns {
		f.RmsPx = math.Sqrt(n.squares / float64(n.count-ellipseUnknowns))
	}
	f.Covariance.ScaleSym(f.RmsPx*f.RmsPx, f.Covariance)
	return f, nil
}
