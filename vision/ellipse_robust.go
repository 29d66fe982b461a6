package vision

import (
	"math"
	"math/rand/v2"

	"rimpair/calib"
)

const (
	// tukeyTuning makes the biweight 95 % efficient for normal errors (Holland,
	// Welsch, "Robust regression using iteratively reweighted least-squares", 1977).
	tukeyTuning = 4.685
	// ransacDraws of five points: with half of the points wrong one draw in 32 is
	// clean, and 400 draws miss all of those with a chance of 3e-6; the rest of
	// them guards against clean draws on too short an arc.
	ransacDraws = 400
)

// FitEllipseRobust fits the ellipse that most of the points agree on: the best of
// many five-point ellipses, then FitEllipse with Tukey's biweight. sigmaPx is the
// scatter to expect of good points. The draws are seeded, so that equal points
// give equal results.
func FitEllipseRobust(points []calib.Point, sigmaPx float64) (EllipseFit, error) {
	if len(points) < ellipseUnknowns {
		return EllipseFit{}, ErrNoEllipse
	}
	limit := tukeyTuning * sigmaPx
	random := rand.New(rand.NewPCG(1, uint64(len(points))))
	best, least := Ellipse{}, math.Inf(1)
	try := func(sample []calib.Point) {
		e, err := FitEllipseDirect(sample)
		if err != nil {
			return
		}
		if c := e.lostSquares(points, limit); c < least {
			best, least = e, c
		}
	}
	sample := make([]calib.Point, ellipseUnknowns)
	for range ransacDraws {
		for i := range sample {
			sample[i] = points[random.IntN(len(points))]
		}
		before := least
		try(sample)
		if least < before { // five points carry their own noise: draw in those that agree
			try(best.near(points, limit))
		}
	}
	if math.IsInf(least, 1) {
		return EllipseFit{}, ErrNoEllipse
	}
	return refineEllipse(points, best, limit)
}

// lostSquares is Σ min(d², limit²).
func (e Ellipse) lostSquares(points []calib.Point, limit float64) (sum float64) {
	c := e.Conic()
	for _, p := range points {
		d := c.sampson(p)
		sum += min(d*d, limit*limit)
	}
	return sum
}

func (e Ellipse) near(points []calib.Point, limit float64) (near []calib.Point) {
	c := e.Conic()
	for _, p := range points {
		if math.Abs(c.sampson(p)) < limit {
			near = append(near, p)
		}
	}
	return near
}
