package vision

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rimpair/calib"
)

func vec(v [3]float64) r3.Vec { return r3.Vec{X: v[0], Y: v[1], Z: v[2]} }

func requireVec(t require.TestingT, want, got r3.Vec, tolerance float64) {
	require.Less(t, r3.Norm(r3.Sub(want, got)), tolerance, "want %v, got %v", want, got)
}

// Computed values of testdata/ellipses.json, forward and backward.
func TestCirclePoseReferences(t *testing.T) {
	r := readEllipseReferences(t).CirclePose
	camera := calib.Camera{F: r.FocalPx, Cx: r.CxPx, Cy: r.CyPx}
	pose := CirclePose{Centre: vec(r.CentreMm), Normal: vec(r.Normal)}
	e, err := CircleEllipse(pose, camera, r.RadiusMm)
	require.NoError(t, err)
	// The normal is given to 5e-7, worth 5e-7 · 500 px.
	requireEllipse(t, r.Ellipse, e, 3e-4)

	poses, err := CirclePoses(e, camera, r.RadiusMm)
	require.NoError(t, err)
	first, second := poses[0], poses[1]
	if r3.Dot(first.Normal, pose.Normal) < r3.Dot(second.Normal, pose.Normal) {
		first, second = second, first
	}
	requireVec(t, pose.Centre, first.Centre, 1e-8)
	requireVec(t, r3.Unit(pose.Normal), first.Normal, 1e-10)
	// Digits given, and the error of the given normal.
	requireVec(t, vec(r.SecondCentreMm), second.Centre, 5e-4)
	requireVec(t, vec(r.SecondNormal), second.Normal, 3e-6)
}

// Both poses project to the ellipse they came from, and one of them is the circle
// that made it: its normal together with its own centre.
func TestCirclePoseRoundTrip(t *testing.T) {
	camera := calib.Camera{F: 3000, Cx: 2016, Cy: 1512}
	rapid.Check(t, func(t *rapid.T) {
		radius := rapid.Float64Range(50, 400).Draw(t, "radius")
		tilt := rapid.Float64Range(0.05, 1.4).Draw(t, "tilt")
		about := rapid.Float64Range(0, 2*math.Pi).Draw(t, "about")
		depth := rapid.Float64Range(800, 4000).Draw(t, "depth")
		centre := r3.Scale(depth, r3.Vec{
			X: rapid.Float64Range(-0.6, 0.6).Draw(t, "x"),
			Y: rapid.Float64Range(-0.5, 0.5).Draw(t, "y"),
			Z: 1,
		})
		// Tilted against the line of sight, so that neither edge-on nor frontal.
		sight := r3.Unit(r3.Scale(-1, centre))
		side := r3.Unit(r3.Cross(sight, r3.Vec{X: 0.2, Y: 1, Z: 0.1}))
		up := r3.Cross(side, sight)
		lean := r3.Add(r3.Scale(math.Cos(about), side), r3.Scale(math.Sin(about), up))
		pose := CirclePose{centre, r3.Add(r3.Scale(math.Cos(tilt), sight), r3.Scale(math.Sin(tilt), lean))}

		e, err := CircleEllipse(pose, camera, radius)
		require.NoError(t, err)
		poses, err := CirclePoses(e, camera, radius)
		require.NoError(t, err)
		// The smallest tilt loses half the digits of the ellipse, 1e-13 and better.
		match := poses[0]
		if r3.Norm(r3.Sub(poses[1].Normal, pose.Normal)) < r3.Norm(r3.Sub(match.Normal, pose.Normal)) {
			match = poses[1]
		}
		requireVec(t, pose.Normal, match.Normal, 1e-7)
		requireVec(t, pose.Centre, match.Centre, 1e-7*depth)
		for _, p := range poses {
			require.InDelta(t, 1, r3.Norm(p.Normal), 1e-12)
			require.Negative(t, r3.Dot(p.Normal, p.Centre))
			back, err := CircleEllipse(p, camera, radius)
			require.NoError(t, err)
			for i := range 12 {
				require.InDelta(t, 0, e.Distance(back.At(float64(i)/2)), 1e-6)
			}
		}
	})
}

// Every point of the ellipse is the picture of a point of the circle.
func TestCircleEllipsePoints(t *testing.T) {
	camera := calib.Camera{F: 1500, Cx: 900, Cy: 700}
	pose := CirclePose{Centre: r3.Vec{X: 300, Y: 200, Z: 1100}, Normal: r3.Unit(r3.Vec{X: -1, Y: 0.3, Z: -0.2})}
	e, err := CircleEllipse(pose, camera, 203)
	require.NoError(t, err)
	u := r3.Unit(r3.Cross(pose.Normal, r3.Vec{Z: 1}))
	v := r3.Cross(pose.Normal, u)
	for i := range 36 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 18)
		p, ok := camera.Project(r3.Add(pose.Centre, r3.Scale(203, r3.Add(r3.Scale(cos, u), r3.Scale(sin, v)))))
		require.True(t, ok)
		require.InDelta(t, 0, e.Distance(p), 1e-9)
	}
	centre, _ := camera.Project(pose.Centre)
	require.Greater(t, math.Hypot(centre.X-e.X, centre.Y-e.Y), 1.0, "the ellipse's centre is not the circle's")
}

func TestCirclePoseRefuses(t *testing.T) {
	camera := calib.Camera{F: 1000, Cx: 500, Cy: 500}
	for _, e := range []Ellipse{{}, {A: 1, B: 2}, {A: 2, B: -1}, {A: math.NaN(), B: 1}} {
		_, err := CirclePoses(e, camera, 100)
		require.ErrorIs(t, err, ErrNoCircle)
	}
	_, err := CirclePoses(Ellipse{A: 2, B: 1}, camera, 0)
	require.ErrorIs(t, err, ErrNoCircle)
	for name, p := range map[string]CirclePose{
		"behind":       {Centre: r3.Vec{Z: -500}, Normal: r3.Vec{Z: -1}},
		"around":       {Centre: r3.Vec{Z: 50}, Normal: r3.Vec{X: 1}},
		"seen edge-on": {Centre: r3.Vec{Z: 500}, Normal: r3.Vec{X: 1}},
	} {
		_, err := CircleEllipse(p, camera, 100)
		require.ErrorIs(t, err, ErrNoCircle, name)
	}
}
