package vision

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"rimpair/calib"
)

// Against OpenCV's findHomography (least squares over all points).
func TestHomographyAgainstOpenCV(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	truth := homography{{1.4, 0.3, 1500}, {-0.2, 1.1, 1800}, {2e-4, -3e-4, 1}}
	for _, noise := range []float64{0, 0.5} {
		t.Run(fmt.Sprintf("noise %.1f px", noise), func(t *testing.T) {
			var plane, picture []calib.Point
			var weight []float64
			from := gocv.NewMatWithSize(calib.SheetCorners, 1, gocv.MatTypeCV64FC2)
			to := gocv.NewMatWithSize(calib.SheetCorners, 1, gocv.MatTypeCV64FC2)
			defer from.Close()
			defer to.Close()
			for i := range calib.SheetCorners {
				p := cornerPoint(i)
				q := truth.apply(p)
				q.X += noise * rng.NormFloat64()
				q.Y += noise * rng.NormFloat64()
				plane, picture, weight = append(plane, p), append(picture, q), append(weight, 1)
				from.SetDoubleAt(i, 0, p.X)
				from.SetDoubleAt(i, 1, p.Y)
				to.SetDoubleAt(i, 0, q.X)
				to.SetDoubleAt(i, 1, q.Y)
			}
			ours, ok := fitHomography(plane, picture, weight)
			require.True(t, ok)
			mask := gocv.NewMat()
			defer mask.Close()
			m := gocv.FindHomography(from, &to, gocv.HomograpyMethodAllPoints, 3, &mask, 2000, 0.995)
			defer m.Close()
			var theirs homography
			for i := range 3 {
				for j := range 3 {
					theirs[i][j] = m.GetDoubleAt(i, j)
				}
			}
			var ourSquares, theirSquares float64
			for i, p := range plane {
				a, b := ours.apply(p), theirs.apply(p)
				ourSquares += math.Pow(distance(a, picture[i]), 2)
				theirSquares += math.Pow(distance(b, picture[i]), 2)
				// Half a float32's last digit at 2000 px, in which OpenCV takes the points;
				// and a fifth of the uncertainty σ √(8/48) of the points of a fit with 8
				// unknowns, since OpenCV goes on to minimise distances in the picture.
				assert.Less(t, distance(a, b), 6e-5+0.2*noise*math.Sqrt(8.0/48))
			}
			// Little is lost against that minimum.
			assert.LessOrEqual(t, ourSquares, 1.002*theirSquares+1e-6)
		})
	}
}

func TestHomographyDegenerate(t *testing.T) {
	inLine := []calib.Point{{X: 0}, {X: 1}, {X: 2}, {X: 3}, {X: 4}}
	w := []float64{1, 1, 1, 1, 1}
	_, ok := fitHomography(inLine, inLine, w)
	assert.False(t, ok, "points in a line")
	_, ok = fitHomography(inLine[:3], inLine[:3], w[:3])
	assert.False(t, ok, "three points")
	same := make([]calib.Point, 5)
	_, ok = fitHomography(same, same, w)
	assert.False(t, ok, "one point five times")
}

// The derivative against a difference quotient.
func TestHomographyAffine(t *testing.T) {
	h := homography{{1.4, 0.3, 1500}, {-0.2, 1.1, 1800}, {2e-4, -3e-4, 1}}
	p := calib.Point{X: 40, Y: -60}
	const step = 1e-4
	x, y, q := h.apply(calib.Point{X: p.X + step, Y: p.Y}), h.apply(calib.Point{X: p.X, Y: p.Y + step}), h.apply(p)
	a := h.affineAt(p)
	assert.InDelta(t, (x.X-q.X)/step, a[0], 1e-5)
	assert.InDelta(t, (y.X-q.X)/step, a[1], 1e-5)
	assert.InDelta(t, (x.Y-q.Y)/step, a[2], 1e-5)
	assert.InDelta(t, (y.Y-q.Y)/step, a[3], 1e-5)
}

// The scales of a map at a point are the singular values of its derivative, as gonum computes them.
func TestScalesAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-3, 3)
		h := homography{
			{number.Draw(t, "h00"), number.Draw(t, "h01"), number.Draw(t, "h02")},
			{number.Draw(t, "h10"), number.Draw(t, "h11"), number.Draw(t, "h12")},
			{number.Draw(t, "h20") / 1000, number.Draw(t, "h21") / 1000, 1},
		}
		p := calib.Point{X: 30 * number.Draw(t, "x"), Y: 30 * number.Draw(t, "y")}
		derivative := h.affineAt(p)
		var svd mat.SVD
		require.True(t, svd.Factorize(mat.NewDense(2, 2, derivative[:]), mat.SVDNone))
		want := svd.Values(nil)
		least, most := h.scalesAt(p)
		// Differences of numbers of most's size: some roundings of it.
		require.InDelta(t, want[0], most, 1e-12*most+1e-15)
		require.InDelta(t, want[1], least, 1e-12*most+1e-15)
	})
}
