package vision

import (
	"math"

	"rimpair/calib"

	"gonum.org/v1/gonum/mat"
)

// homography maps a plane to a picture: (u, v, w) = H (x, y, 1), pixel (u/w, v/w).
type homography [3][3]float64

func (h *homography) apply(p calib.Point) calib.Point {
	w := h[2][0]*p.X + h[2][1]*p.Y + h[2][2]
	return calib.Point{
		X: (h[0][0]*p.X + h[0][1]*p.Y + h[0][2]) / w,
		Y: (h[1][0]*p.X + h[1][1]*p.Y + h[1][2]) / w,
	}
}

// affineAt is the derivative of the map at p: {du/dx, du/dy, dv/dx, dv/dy}.
func (h *homography) affineAt(p calib.Point) [4]float64 {
	w := h[2][0]*p.X + h[2][1]*p.Y + h[2][2]
	q := h.apply(p)
	return [4]float64{
		(h[0][0] - q.X*h[2][0]) / w, (h[0][1] - q.X*h[2][1]) / w,
		(h[1][0] - q.Y*h[2][0]) / w, (h[1][1] - q.Y*h[2][1]) / w,
	}
}

// scalesAt are how many pixels a millimetre has at p in the direction in which it has fewest and in
// that in which it has most: the singular values of the derivative.
func (h *homography) scalesAt(p calib.Point) (least, most float64) {
	d := h.affineAt(p)
	sum, difference := math.Hypot(d[0]+d[3], d[1]-d[2]), math.Hypot(d[0]-d[3], d[1]+d[2])
	return math.Abs(sum-difference) / 2, (sum + difference) / 2
}

// scaleAt is how many pixels a millimetre has at p, as the root of an area's.
func (h *homography) scaleAt(p calib.Point) float64 {
	least, most := h.scalesAt(p)
	return math.Sqrt(least * most)
}

func (h *homography) mul(g *homography) homography {
	var p homography
	for i := range p {
		for j := range p {
			for k := range p {
				p[i][j] += h[i][k] * g[k][j]
			}
		}
	}
	return p
}

// fitHomography fits the map from plane points to picture points by the weighted
// normalised direct linear transformation (Hartley and Zisserman, "Multiple View
// Geometry", 2nd edition, algorithm 4.2). It needs four pairs, no three of them in
// a line; ok is false when they do not settle it.
func fitHomography(plane, picture []calib.Point, weight []float64) (h homography, ok bool) {
	if len(plane) < 4 {
		return homography{}, false
	}
	a, _, ok1 := normalise(plane, weight)
	b, bInverse, ok2 := normalise(picture, weight)
	if !ok1 || !ok2 {
		return homography{}, false
	}
	// The normal matrix of the 2n equations; its squared condition costs nothing
	// once the points are normalised.
	normal := mat.NewSymDense(9, nil)
	for i := range plane {
		p, q := a.apply(plane[i]), b.apply(picture[i])
		normal.SymRankOne(normal, weight[i], mat.NewVecDense(9, []float64{p.X, p.Y, 1, 0, 0, 0, -q.X * p.X, -q.X * p.Y, -q.X}))
		normal.SymRankOne(normal, weight[i], mat.NewVecDense(9, []float64{0, 0, 0, p.X, p.Y, 1, -q.Y * p.X, -q.Y * p.Y, -q.Y}))
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(normal, true) {
		return homography{}, false
	}
	// A second eigenvalue near zero: more than one map fits (points in a line).
	values := eigen.Values(nil)
	if !(values[1] > 1e-9*values[8]) {
		return homography{}, false
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var core homography
	for k := range 9 {
		core[k/3][k%3] = vectors.At(k, 0)
	}
	h = bInverse.mul(&core)
	h = h.mul(&a)
	return h, true
}

// normalise returns the similarity that brings the points' weighted centroid to
// the origin and their mean square distance from it to 2, and its inverse.
func normalise(points []calib.Point, weight []float64) (t, inverse homography, ok bool) {
	var sum, cx, cy, square float64
	for i, p := range points {
		sum += weight[i]
		cx += weight[i] * p.X
		cy += weight[i] * p.Y
	}
	cx, cy = cx/sum, cy/sum
	for i, p := range points {
		square += weight[i] * ((p.X-cx)*(p.X-cx) + (p.Y-cy)*(p.Y-cy))
	}
	s := math.Sqrt(2 * sum / square)
	if math.IsNaN(s) || math.IsInf(s, 0) {
		return homography{}, homography{}, false
	}
	return homography{{s, 0, -s * cx}, {0, s, -s * cy}, {0, 0, 1}},
		homography{{1 / s, 0, cx}, {0, 1 / s, cy}, {0, 0, 1}}, true
}
