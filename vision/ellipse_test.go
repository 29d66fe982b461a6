package vision

import (
	"encoding/json"
	"image"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"rimpair/calib"
)

// referenceEllipse is an ellipse of testdata/ellipses.json, where each has its source.
type referenceEllipse struct {
	X            float64 `json:"x"`
	Y            float64 `json:"y"`
	A            float64 `json:"a"`
	B            float64 `json:"b"`
	AngleRad     float64 `json:"angle_rad"`
	DistanceNorm float64 `json:"distance_norm"`
}

type ellipseReferences struct {
	EightPoints struct {
		Points [][2]float64 `json:"points"`
	} `json:"eight_points"`
	Geometric    referenceEllipse `json:"geometric"`
	Direct       referenceEllipse `json:"direct"`
	DirectOpenCV referenceEllipse `json:"direct_opencv"`
	CirclePose   struct {
		FocalPx        float64          `json:"focal_px"`
		CxPx           float64          `json:"cx_px"`
		CyPx           float64          `json:"cy_px"`
		RadiusMm       float64          `json:"radius_mm"`
		CentreMm       [3]float64       `json:"centre_mm"`
		Normal         [3]float64       `json:"normal"`
		Ellipse        referenceEllipse `json:"ellipse"`
		SecondCentreMm [3]float64       `json:"second_centre_mm"`
		SecondNormal   [3]float64       `json:"second_normal"`
	} `json:"circle_pose"`
}

func readEllipseReferences(t *testing.T) (r ellipseReferences) {
	t.Helper()
	data, err := os.ReadFile("../testdata/ellipses.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &r))
	return r
}

func (r ellipseReferences) points() (points []calib.Point) {
	for _, p := range r.EightPoints.Points {
		points = append(points, calib.Point{X: p[0], Y: p[1]})
	}
	return points
}

func requireEllipse(t require.TestingT, want referenceEllipse, e Ellipse, tolerance float64) {
	require.InDelta(t, want.X, e.X, tolerance)
	require.InDelta(t, want.Y, e.Y, tolerance)
	require.InDelta(t, want.A, e.A, tolerance)
	require.InDelta(t, want.B, e.B, tolerance)
	require.InDelta(t, 0, foldAngle(want.AngleRad-e.AngleRad), tolerance)
}

// Gander, Golub, Strebel (1994), Halíř and Flusser (1998), OpenCV.
func TestFitEllipseReferences(t *testing.T) {
	r := readEllipseReferences(t)
	direct, err := FitEllipseDirect(r.points())
	require.NoError(t, err)
	requireEllipse(t, r.Direct, direct, 0.00005)        // digits given
	requireEllipse(t, r.DirectOpenCV, direct, 0.000005) // single precision

	fit, err := FitEllipse(r.points())
	require.NoError(t, err)
	requireEllipse(t, r.Geometric, fit.Ellipse, 0.00005) // digits printed
	var squares float64
	for _, p := range r.points() {
		squares += fit.Distance(p) * fit.Distance(p)
	}
	require.InDelta(t, r.Geometric.DistanceNorm, math.Sqrt(squares), 0.00005)
	require.InDelta(t, math.Sqrt(squares/3), fit.RmsPx, 1e-9)
}

// drawEllipse is any ellipse of picture size, up to 30 times as long as broad.
func drawEllipse(t *rapid.T) Ellipse {
	a := rapid.Float64Range(20, 2000).Draw(t, "a")
	return Ellipse{
		X:        rapid.Float64Range(-1000, 5000).Draw(t, "x"),
		Y:        rapid.Float64Range(-1000, 5000).Draw(t, "y"),
		A:        a,
		B:        a * rapid.Float64Range(0.03, 0.98).Draw(t, "ratio"),
		AngleRad: rapid.Float64Range(-math.Pi/2+1e-9, math.Pi/2).Draw(t, "angle"),
	}
}

// arc is n points on a part of the ellipse, span radians long.
func (e Ellipse) arc(from, span float64, n int) (points []calib.Point) {
	for i := range n {
		points = append(points, e.At(from+span*float64(i)/float64(n)))
	}
	return points
}

func TestConicRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEllipse(t)
		c := e.Conic()
		for i := range c { // any multiple is the same conic
			c[i] *= -3.7
		}
		back, ok := c.Ellipse()
		require.True(t, ok)
		// The constant term holds (centre/B)², up to 5e7 here, of which 1 is left at
		// the centre: 1e-16 · 5e7, and as much again from the ratio of the axes.
		require.InEpsilon(t, e.A, back.A, 1e-6)
		require.InEpsilon(t, e.B, back.B, 1e-6)
		require.Less(t, math.Hypot(e.X-back.X, e.Y-back.Y), 1e-6*e.A)
	})
	_, ok := Conic{1, 0, -1, 0, 0, -1}.Ellipse()
	require.False(t, ok, "a hyperbola")
	_, ok = Conic{1, 0, 1, 0, 0, 1}.Ellipse()
	require.False(t, ok, "x² + y² = −1")
	_, ok = Conic{1, 0, 0, 0, 1, 0}.Ellipse()
	require.False(t, ok, "a parabola")
}

// The foot of the perpendicular is on the ellipse, the way to it is normal to the
// ellipse, and no sampled point is nearer.
func TestNearest(t *testing.T) {
	check := func(t require.TestingT, e Ellipse, p calib.Point) {
		q := e.Nearest(p)
		u, v := e.local(q)
		require.InDelta(t, 1, math.Hypot(u/e.A, v/e.B), 1e-9)
		d := math.Hypot(p.X-q.X, p.Y-q.Y)
		require.InDelta(t, d, math.Abs(e.Distance(p)), 1e-9*e.A)
		pu, pv := e.local(p)
		// Cross product of the way and the gradient, of length 1/B at most.
		require.InDelta(t, 0, (pu-u)*v/(e.B*e.B)-(pv-v)*u/(e.A*e.A), 1e-8*(1+d)/e.B)
		for i := range 360 {
			s := e.At(float64(i) * math.Pi / 180)
			require.GreaterOrEqual(t, math.Hypot(p.X-s.X, p.Y-s.Y), d-1e-9*e.A)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		e := drawEllipse(t)
		check(t, e, e.point(rapid.Float64Range(-2, 2).Draw(t, "u")*e.A, rapid.Float64Range(-2, 2).Draw(t, "v")*e.A))
	})
	e := Ellipse{X: 3, Y: 4, A: 10, B: 2, AngleRad: 0}
	for _, p := range []calib.Point{{X: 3, Y: 4}, {X: 5, Y: 4}, {X: 3, Y: 5}, {X: 13, Y: 4}, {X: 12.9, Y: 4}, {X: 20, Y: 4}, {X: 3, Y: 60}} {
		check(t, e, p)
	}
	circle := Ellipse{A: 5, B: 5}
	check(t, circle, calib.Point{})
	require.Equal(t, -5.0, circle.Distance(calib.Point{}))
	require.InDelta(t, 8, circle.Distance(calib.Point{X: 5, Y: 12}), 1e-14)
}

// Points on an ellipse are fitted exactly, whatever part of it they cover.
func TestFitEllipseExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEllipse(t)
		points := e.arc(rapid.Float64Range(0, 6).Draw(t, "from"), rapid.Float64Range(3, 6.2).Draw(t, "span"), 40)
		direct, err := FitEllipseDirect(points)
		require.NoError(t, err)
		want := referenceEllipse{X: e.X, Y: e.Y, A: e.A, B: e.B, AngleRad: e.AngleRad}
		requireEllipse(t, want, direct, 1e-6*e.A)
		fit, err := FitEllipse(points)
		require.NoError(t, err)
		requireEllipse(t, want, fit.Ellipse, 1e-9*e.A)
		require.Less(t, fit.RmsPx, 1e-9*e.A)
	})
}

// Scattered points, moved by a similarity, give the moved ellipse; the direct fit
// follows every affinity (Fitzgibbon, Pilu, Fisher, "Direct least square fitting
// of ellipses", 1999).
func TestFitEllipseEquivariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEllipse(t)
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		points := e.arc(0.3, 5, 60)
		for i := range points {
			points[i].X += 0.005 * e.B * random.NormFloat64()
			points[i].Y += 0.005 * e.B * random.NormFloat64()
		}
		turn := rapid.Float64Range(-3, 3).Draw(t, "turn")
		scale := rapid.Float64Range(0.01, 100).Draw(t, "scale")
		sin, cos := math.Sincos(turn)
		similarity := [6]float64{scale * cos, -scale * sin, scale * sin, scale * cos, 77, -3000}
		fit, err := FitEllipse(points)
		require.NoError(t, err)
		moved, err := FitEllipse(transform(points, similarity))
		require.NoError(t, err)
		center := transform([]calib.Point{{X: fit.X, Y: fit.Y}}, similarity)[0]
		requireEllipse(t, referenceEllipse{X: center.X, Y: center.Y, A: scale * fit.A, B: scale * fit.B, AngleRad: foldAngle(fit.AngleRad + turn)},
			moved.Ellipse, 1e-6*moved.A)
		require.InEpsilon(t, scale*fit.RmsPx, moved.RmsPx, 1e-6)

		affinity := [6]float64{1.5, 0.4, -0.2, 0.7, 10, 20}
		direct, err := FitEllipseDirect(points)
		require.NoError(t, err)
		sheared, err := FitEllipseDirect(transform(points, affinity))
		require.NoError(t, err)
		for _, p := range transform(direct.arc(0, 2*math.Pi, 12), affinity) {
			require.InDelta(t, 0, sheared.Distance(p), 1e-6*sheared.A)
		}
	})
}

func transform(points []calib.Point, m [6]float64) (moved []calib.Point) {
	for _, p := range points {
		moved = append(moved, calib.Point{X: m[0]*p.X + m[1]*p.Y + m[4], Y: m[2]*p.X + m[3]*p.Y + m[5]})
	}
	return moved
}

// OpenCV's fitEllipse on points of an ellipse. gocv takes and gives whole pixels,
// hence an ellipse of a hundred thousand, and a tolerance of two.
func TestFitEllipseOpenCV(t *testing.T) {
	e := Ellipse{X: 310000, Y: -120000, A: 200000, B: 130000, AngleRad: 0.7}
	var whole []image.Point
	var points []calib.Point
	for _, p := range e.arc(1, 5, 200) {
		q := image.Pt(int(math.Round(p.X)), int(math.Round(p.Y)))
		whole = append(whole, q)
		points = append(points, calib.Point{X: float64(q.X), Y: float64(q.Y)})
	}
	vector := gocv.NewPointVectorFromPoints(whole)
	defer vector.Close()
	theirs := gocv.FitEllipse(vector)
	ours, err := FitEllipse(points)
	require.NoError(t, err)
	require.InDelta(t, float64(theirs.Center.X), ours.X, 2)
	require.InDelta(t, float64(theirs.Center.Y), ours.Y, 2)
	require.InDelta(t, float64(theirs.Height), 2*ours.A, 2)
	require.InDelta(t, float64(theirs.Width), 2*ours.B, 2)
	// OpenCV's angle is that of the width, in degrees and single precision.
	require.InDelta(t, 0, foldAngle(theirs.Angle*math.Pi/180+math.Pi/2-ours.AngleRad), 1e-4)
}

// The covariance against 1500 draws: (estimate − truth)ᵀ·C⁻¹·(estimate − truth)
// has mean 5 and variance 10 (χ² of 5), when C has the true σ.
func TestFitEllipseCovariance(t *testing.T) {
	const draws, sigma = 1500, 0.3
	tests := []struct {
		name string
		e    Ellipse
		span float64
	}{
		{"whole", Ellipse{X: 500, Y: 300, A: 200, B: 150, AngleRad: 0.5}, 2 * math.Pi},
		{"slender", Ellipse{X: 500, Y: 300, A: 300, B: 40, AngleRad: -1.2}, 2 * math.Pi},
		{"half", Ellipse{X: 500, Y: 300, A: 200, B: 150, AngleRad: 0.5}, math.Pi},
		{"circle", Ellipse{X: 500, Y: 300, A: 200, B: 200}, 2 * math.Pi},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(5, 6))
			exact := test.e.arc(0.2, test.span, 100)
			truth := test.e.shape()
			var mean, variance float64
			for range draws {
				points := make([]calib.Point, len(exact))
				for i, p := range exact {
					points[i] = calib.Point{X: p.X + sigma*random.NormFloat64(), Y: p.Y + sigma*random.NormFloat64()}
				}
				fit, err := FitEllipse(points)
				require.NoError(t, err)
				s := fit.shape()
				error := mat.NewVecDense(5, []float64{fit.X - test.e.X, fit.Y - test.e.Y, s.xx - truth.xx, s.xy - truth.xy, s.yy - truth.yy})
				var information mat.Dense
				require.NoError(t, information.Inverse(fit.Covariance))
				mean += mat.Inner(error, &information, error) * fit.RmsPx * fit.RmsPx / (sigma * sigma) / draws
				variance += fit.RmsPx * fit.RmsPx / draws
			}
			require.InDelta(t, 5, mean, 4*math.Sqrt(10.0/draws))
			require.InEpsilon(t, sigma*sigma, variance, 4*math.Sqrt(2.0/95/draws))
		})
	}
}

// AxesCovariance by the difference quotient of the axes by the shape.
func TestAxesCovariance(t *testing.T) {
	r := readEllipseReferences(t)
	fit, err := FitEllipse(r.points())
	require.NoError(t, err)
	j := mat.NewDense(5, 5, nil)
	for k := range 5 {
		const h = 1e-5
		delta := make([]float64, 5)
		delta[k] = h
		up, _ := fit.moved(delta)
		delta[k] = -h
		down, _ := fit.moved(delta)
		for i, d := range []float64{up.X - down.X, up.Y - down.Y, up.A - down.A, up.B - down.B, up.AngleRad - down.AngleRad} {
			j.Set(i, k, d/(2*h))
		}
	}
	want, got := propagate(j, fit.Covariance), fit.AxesCovariance()
	require.True(t, mat.EqualApprox(want, got, 1e-7), "%v", mat.Formatted(got))
}

// Well over a third of the points lie elsewhere: on a smaller ellipse inside, a
// line across, and all about, but none within what counts as on the ellipse. It
// is found as if they were not there.
func TestFitEllipseRobust(t *testing.T) {
	const sigma = 0.3
	e := Ellipse{X: 800, Y: 600, A: 300, B: 180, AngleRad: 0.4}
	for seed := range uint64(30) {
		random := rand.New(rand.NewPCG(seed, 7))
		noisy := func(p calib.Point) calib.Point {
			return calib.Point{X: p.X + sigma*random.NormFloat64(), Y: p.Y + sigma*random.NormFloat64()}
		}
		var good, all []calib.Point
		for _, p := range e.arc(1, 4.5, 200) {
			good = append(good, noisy(p))
		}
		all = append(all, good...)
		stray := func(p calib.Point) {
			if math.Abs(e.Distance(p)) > 2*tukeyTuning*sigma {
				all = append(all, p)
			}
		}
		inner := e
		inner.A, inner.B = e.A-12, e.B-9
		for _, p := range inner.arc(4, 1, 40) {
			stray(noisy(p))
		}
		for i := range 40 {
			stray(noisy(calib.Point{X: 600 + 10*float64(i), Y: 500 + 5*float64(i)}))
			stray(calib.Point{X: 400 + 800*random.Float64(), Y: 300 + 600*random.Float64()})
		}
		clean, err := FitEllipse(good)
		require.NoError(t, err)
		fit, err := FitEllipseRobust(all, sigma)
		require.NoError(t, err)
		axes := fit.AxesCovariance()
		got := []float64{fit.X, fit.Y, fit.A, fit.B, fit.AngleRad}
		for i, want := range []float64{clean.X, clean.Y, clean.A, clean.B, clean.AngleRad} {
			// The biweight's estimate scatters about the plain one by a quarter of its σ
			// (efficiency 95 %): four of those.
			require.InDelta(t, want, got[i], math.Sqrt(axes.At(i, i)), "seed %d, value %d", seed, i)
		}
		var rejected int
		for i := range good {
			if !fit.Inliers[i] {
				rejected++
			}
		}
		require.LessOrEqual(t, rejected, 1)
	}
}

func TestFitEllipseRefuses(t *testing.T) {
	line := make([]calib.Point, 20)
	for i := range line {
		line[i] = calib.Point{X: float64(i), Y: 3 * float64(i)}
	}
	same := make([]calib.Point, 20)
	tests := []struct {
		name   string
		points []calib.Point
	}{
		{"four points", Ellipse{A: 2, B: 1}.arc(0, 6, 4)},
		{"none", nil},
		{"a line", line},
		{"one place", same},
		{"no numbers", []calib.Point{{X: math.NaN()}, {X: 1}, {X: 2, Y: 1}, {Y: 3}, {X: 4, Y: 4}, {Y: math.Inf(1)}}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, err := FitEllipseDirect(test.points)
			require.ErrorIs(t, err, ErrNoEllipse)
			_, err = FitEllipse(test.points)
			require.ErrorIs(t, err, ErrNoEllipse)
			_, err = FitEllipseRobust(test.points, 0.3)
			require.ErrorIs(t, err, ErrNoEllipse)
		})
	}
}
