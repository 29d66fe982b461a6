package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// Where a line of sight grazes a torus it is at right angles to the surface's
// normal, and the point lies on the torus: the definition of an apparent contour.
func TestContourGrazes(t *testing.T) {
	s := exampleScene()
	for photo := range s.Photos {
		for side := range s.Wheels {
			w := &s.Wheels[side]
			for _, kind := range []EdgeKind{TyreOuter, TyreInner, RimCircle} {
				c := newLocus(w, kind, Side(side).inboard(), s.view(photo))
				ring, tube, offset := c.shape()
				for u := 0.0; u < 2*math.Pi; u += 0.1 {
					p, ok := c.point(u)
					require.True(t, ok)
					sight := r3.Unit(r3.Sub(c.eye, p.at))
					require.InDelta(t, 0, r3.Dot(sight, p.outward), 1e-9)
					fromCentre := r3.Sub(p.at, c.centre)
					axial := r3.Dot(fromCentre, c.axes.axle)
					radial := math.Sqrt(r3.Norm2(fromCentre) - axial*axial)
					require.InDelta(t, tube, math.Hypot(radial-ring, axial-offset), 1e-8, "mm from the ring")
				}
			}
			outer, inner := newLocus(w, TyreOuter, 0, s.view(photo)), newLocus(w, TyreInner, 0, s.view(photo))
			for u := 0.0; u < 2*math.Pi; u += 0.1 {
				o, _ := outer.point(u)
				i, _ := inner.point(u)
				require.Greater(t, o.radial, i.radial)
			}
		}
	}
}

// A lip without rounding is a circle, whose picture without distortion is the
// ellipse of the projective geometry of vision.CircleEllipse (itself checked with
// values computed by an independent script).
func TestSharpLipIsAnEllipse(t *testing.T) {
	s := exampleScene()
	s.Cameras[0] = calib.Camera{F: 3000, Cx: 2016, Cy: 1512}
	w := &s.Wheels[Left]
	w.Lip = 0
	face := Left.inboard()
	v := s.view(0)
	c := newLocus(w, RimCircle, face, v)
	axis := c.axes.axle
	centre := r3.Add(c.centre, r3.Scale(w.Rim[face].Offset, axis))
	e, err := vision.CircleEllipse(vision.CirclePose{Centre: v.pose.Apply(centre), Normal: v.pose.R.Apply(axis)}, v.camera, w.Rim[face].Radius)
	require.NoError(t, err)
	for u := 0.0; u < 2*math.Pi; u += 0.05 {
		p, ok := c.project(u)
		require.True(t, ok)
		require.InDelta(t, 0, e.Distance(p), 1e-6, "px")
	}
}

// The nearest point of a curve to a point moved off it along its normal is where
// it started, and the normal points out of the body.
func TestNearestOnCurve(t *testing.T) {
	s := exampleScene()
	for _, kind := range []EdgeKind{TyreOuter, RimCircle} {
		c := newLocus(&s.Wheels[Right], kind, Right.inboard(), s.view(0))
		middle, ok := c.camera.Project(c.pose.Apply(c.centre))
		require.True(t, ok)
		for u := 0.0; u < 2*math.Pi; u += 0.1 {
			ip, ok := c.image(u)
			require.True(t, ok)
			require.Positive(t, (ip.px.X-middle.X)*ip.nx+(ip.px.Y-middle.Y)*ip.ny, "outward")
			moved := calib.Point{X: ip.px.X + 2*ip.nx, Y: ip.px.Y + 2*ip.ny}
			back, ok := c.nearest(moved, u+0.01)
			require.True(t, ok)
			require.InDelta(t, 0, math.Hypot(back.px.X-ip.px.X, back.px.Y-ip.px.Y), 0.01, "px")
		}
	}
}

// How a curve's picture moves along it agrees with differences of its picture, for which
// the curvature over ±1e-4 rad leaves 1e-6 of the size, and rounding less.
func TestTangentAgainstDifferences(t *testing.T) {
	const du = 1e-4
	s := exampleScene()
	for photo := range s.Photos {
		for _, kind := range []EdgeKind{TyreOuter, TyreInner, RimCircle} {
			c := newLocus(&s.Wheels[Left], kind, Left.inboard(), s.view(photo))
			for u := 0.0; u < 2*math.Pi; u += 0.1 {
				ip, ok := c.image(u)
				require.True(t, ok)
				before, _ := c.project(u - du)
				after, _ := c.project(u + du)
				require.InDelta(t, (after.X-before.X)/(2*du), ip.dx, 1e-6*ip.speed)
				require.InDelta(t, (after.Y-before.Y)/(2*du), ip.dy, 1e-6*ip.speed)
			}
		}
	}
}
