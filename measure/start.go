package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// This file gives the adjustment its start: where each camera stood, from the
// corners of the sheets alone.

// planePose is the pose of a camera before a plane, from points (x, y, 0) and the
// rays that see them: a homography by the direct linear transform, taken apart
// (Zhang, IEEE TPAMI 22, 2000, section 3.1), then both of the poses that a plane
// seen from afar can be mistaken for, refined; the better one is kept.
func planePose(points []r3.Vec, rays []r3.Vec) (calib.Pose, bool) {
	h, ok := homography(points, rays)
	if !ok {
		return calib.Pose{}, false
	}
	first, ok := poseOfHomography(h)
	if !ok {
		return calib.Pose{}, false
	}
	best, bestCost := calib.Pose{}, math.Inf(1)
	for _, start := range []calib.Pose{first, mirrored(first)} {
		if pose, cost := refinePose(start, points, rays); cost < bestCost {
			best, bestCost = pose, cost
		}
	}
	// The sheet shows its printed side.
	up := best.R.Apply(r3.Vec{Z: 1})
	return best, !math.IsInf(bestCost, 1) && r3.Dot(up, best.T) < 0
}

// homography maps plane points to rays: ray ~ H (x, y, 1).
func homography(points, rays []r3.Vec) (h [9]float64, ok bool) {
	if len(points) < 4 {
		return h, false
	}
	rows := mat.NewDense(2*len(points), 9, nil)
	for i, p := range points {
		x, y := p.X/boardHalfY, p.Y/boardHalfY // near 1, for the condition
		a, b := rays[i].X/rays[i].Z, rays[i].Y/rays[i].Z
		rows.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -a * x, -a * y, -a})
		rows.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -b * x, -b * y, -b})
	}
	var svd mat.SVD
	if !svd.Factorize(rows, mat.SVDThinV) {
		return h, false
	}
	var v mat.Dense
	svd.VTo(&v)
	for i := range h {
		h[i] = v.At(i, 8)
		if i%3 != 2 {
			h[i] /= boardHalfY
		}
	}
	return h, true
}

func poseOfHomography(h [9]float64) (calib.Pose, bool) {
	c1 := r3.Vec{X: h[0], Y: h[3], Z: h[6]}
	c2 := r3.Vec{X: h[1], Y: h[4], Z: h[7]}
	t := r3.Vec{X: h[2], Y: h[5], Z: h[8]}
	scale := 2 / (r3.Norm(c1) + r3.Norm(c2))
	if math.IsNaN(scale) || math.IsInf(scale, 0) {
		return calib.Pose{}, false
	}
	if t.Z < 0 {
		scale = -scale
	}
	e1 := r3.Unit(c1)
	if scale < 0 {
		e1 = r3.Scale(-1, e1)
	}
	c2 = r3.Scale(scale, c2)
	e2 := r3.Unit(r3.Sub(c2, r3.Scale(r3.Dot(c2, e1), e1)))
	e3 := r3.Cross(e1, e2)
	return calib.Pose{
		R: calib.Rot{{e1.X, e2.X, e3.X}, {e1.Y, e2.Y, e3.Y}, {e1.Z, e2.Z, e3.Z}},
		T: r3.Scale(scale, t),
	}, true
}

// mirrored is the other pose that a small plane can have: its normal reflected
// about the line of sight.
func mirrored(p calib.Pose) calib.Pose {
	toCamera := r3.Scale(-1, r3.Unit(p.T))
	normal := p.R.Apply(r3.Vec{Z: 1})
	axis := r3.Cross(normal, toCamera)
	sin := r3.Norm(axis)
	if sin < 1e-9 {
		return p
	}
	turn := calib.RotFromVector(r3.Scale(2*math.Asin(min(1, sin))/sin, axis))
	return calib.Pose{R: turn.Mul(p.R), T: p.T}
}

// refinePose minimises the squared differences of the rays' slopes.
func refinePose(start calib.Pose, points, rays []r3.Vec) (calib.Pose, float64) {
	unit := calib.Camera{F: 1}
	problem := Problem[calib.Pose]{
		Unknowns: 6,
		Plus: func(p calib.Pose, d []float64) calib.Pose {
			return p.Perturb(r3.Vec{X: d[0], Y: d[1], Z: d[2]}, r3.Vec{X: d[3], Y: d[4], Z: d[5]})
		},
		Rows: func(p calib.Pose, emit func(Row)) bool {
			cols := []int{0, 1, 2, 3, 4, 5}
			for i, x := range points {
				turned := p.R.Apply(x)
				q, j, ok := unit.ProjectJacobian(r3.Add(turned, p.T))
				if !ok {
					return false
				}
				for axis, residual := range [2]float64{q.X - rays[i].X/rays[i].Z, q.Y - rays[i].Y/rays[i].Z} {
					g := r3.Vec{X: j.Point[axis][0], Y: j.Point[axis][1], Z: j.Point[axis][2]}
					w := r3.Cross(turned, g)
					emit(Row{Cols: cols, Derivs: []float64{w.X, w.Y, w.Z, g.X, g.Y, g.Z}, Residual: residual})
				}
			}
			return true
		},
	}
	solution, err := Solve(problem, start, Options{MaxIterations: 30, Tolerance: 1e-4})
	if err != nil {
		return start, math.Inf(1)
	}
	return solution.State, solution.Cost
}
