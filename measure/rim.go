package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// This file finds the rims: the edge between the rim's flange and the tyre, a true
// circle, seen only where neither the tyre's bulge nor the rim itself hides it.
// The tyre's outline says where to look to within some millimetres; the edges there
// vote as for the tyre.

const (
	rimWindowPx    = 12.0
	rimTolerancePx = 1.2 // px, within which an edge agrees
	rimMinStep     = 0.08
	rimFullStep    = 0.25
	minFacing      = 0.05 // cosine between the line of sight and the axle
	bulgeMargin    = 0.15 // of the tyre's half width, by which a line of sight must clear it
	gapOpens       = 0.45 // likewise, from which on the gap beside the edge is as wide as elsewhere
	minRimShare    = 0.45 // of the probes that must agree
	minRimBallots  = 15
	rimOffsetVote  = 3.0 // mm
	rimRadiusVote  = 1.5
	rimJointWindow = 3.0
	rimClearPx     = 2.5
	// outlineClearPx is how near to the tyre's outline an edge is the outline, not the rim's:
	// seen along a wheel both may run side by side.
	outlineClearPx = 2.5
)

// rimEdge is how the rim's edge looks on one face of a wheel.
type rimEdge struct {
	found bool
	sign  float64 // of the step outward: −1 from a bright rim to a dark gap or tyre
	share float64 // of the probes that agreed
}

// rimVisible says whether a point of the rim's edge can be seen: the face looks to
// the camera and the line of sight clears the tyre's bulge. The edge lies about on
// the torus, so the bulge hides it where the line of sight runs into the tube.
func rimVisible(c *locus) func(*imagePoint) bool {
	w := c.wheel
	return func(ip *imagePoint) bool {
		sight := r3.Unit(r3.Sub(c.eye, ip.at))
		facing := r3.Dot(sight, c.axes.axle)*c.face.sign() >= minFacing
		return facing && c.clearance(ip) > bulgeMargin && !crossesTube(w, c, ip.at, sight)
	}
}

// clearance is by how much the line of sight to a point of a rim's edge clears the tyre's
// bulge, in half widths of the tyre.
func (c *locus) clearance(ip *imagePoint) float64 {
	sight := r3.Unit(r3.Sub(c.eye, ip.at))
	circle := c.wheel.Rim[c.face]
	radial := (circle.Radius - c.wheel.Ring) * r3.Dot(sight, c.axes.spoke(math.Sincos(ip.u)))
	return (radial + circle.Offset*r3.Dot(sight, c.axes.axle)) / c.wheel.Tube
}

// narrowing is how narrow the gap between a rim's edge and the tyre looks, from 0 where it
// is open to 1 where the tyre's bulge is about to hide it. Once the gap is narrower than
// the photo's blur, its edges stay apart by that: the rim's seems to lie inward. The medians of
// 330 points in given photos are 0.8, 0.5, 0.3 and 0.2 px inward at 0.84, 0.56, 0.34 and 0.17;
// in drawn ones, where the gap looks otherwise, 0.14 px outward at most. How far it is in these
// photos, the same for both wheels, is left to the adjustment.
func (c *locus) narrowing(ip *imagePoint) float64 {
	n := min(1, max(0, (gapOpens-c.clearance(ip))/(gapOpens-bulgeMargin)))
	return n * n
}

// crossesTube says whether the line of sight passes through the tyre farther on,
// as where the near part of a wheel stands before its far part.
func crossesTube(w *Wheel, c *locus, from, sight r3.Vec) bool {
	tyre := w.tyreAxes()
	for s := 2 * w.Tube; s < 2.5*w.Ring; s += max(w.Tube/2, 5) { // a wrong wheel may have no tube
		at := r3.Sub(r3.Add(from, r3.Scale(s, sight)), w.Centre)
		axial := r3.Dot(at, tyre.axle)
		radial := math.Sqrt(max(0, r3.Norm2(at)-axial*axial))
		if math.Hypot(radial-w.Ring, axial) < w.Tube {
			return true
		}
	}
	return false
}

// expectRim puts the edge of one face where a bead seat of this radius makes expect it.
func (w *Wheel) expectRim(face Face, bead float64) {
	w.Lip = lipMm
	w.Rim[face] = Circle{Radius: bead + flangeHeightMm - lipMm, Offset: face.sign() * (rimOffsetMm - lipMm)}
}

// findRim votes for the rim's edge on one face, as a step of the given sign.
func (m *set) findRim(scene *Scene, side Side, face Face, sign float64) (Wheel, rimEdge) {
	start := scene.Wheels[side]
	start.expectRim(face, m.knowledge.rims[side])
	trial := scene.clone()
	trial.Wheels[side] = start
	rim := free{rims: [2]bool{side == Left, side == Right}}
	rim.faces[side][face] = true
	ballots := m.rimBallots(trial, side, face, rimQuestion(newLayout(trial, rim), rimWindowPx, sign))
	if len(ballots) < minRimBallots {
		return start, rimEdge{}
	}
	var prior guessPrior
	prior.know(0, 0, wobbleSigmaRad)
	prior.know(1, 0, wobbleSigmaRad)
	prior.know(2, 0, rimShiftSigmaMm)
	prior.know(3, 0, rimShiftSigmaMm)
	prior.know(4, 0, lipSigmaMm)
	prior.know(5, 0, rimRadiusVote)
	prior.know(6, 0, rimOffsetVote)
	favourite := poll(ballots, &prior, rimTolerancePx)[0]
	d := &favourite.delta
	start.RimHeadingRad += d[0]
	start.RimTiltRad += d[1]
	start.RimForward += d[2]
	start.RimUp += d[3]
	start.Lip += d[4]
	start.Rim[face].Radius += d[5]
	start.Rim[face].Offset += d[6]
	off := start.Rim[face].Radius + start.Lip - m.knowledge.rims[side] - flangeHeightMm
	found := favourite.share >= minRimShare && math.Abs(off) < maxRimOffMm
	return start, rimEdge{found: found, sign: sign, share: favourite.share}
}

// rimQuestion asks for the rims' edges, as steps of the given sign.
func rimQuestion(l layout, windowPx, sign float64) question {
	return question{layout: l, windowPx: windowPx, sign: sign, leastStep: rimMinStep, fullStep: rimFullStep}
}

// rimBallots probes the rim's edge of one face in all photos.
func (m *set) rimBallots(scene *Scene, side Side, face Face, q question) []ballot {
	var list []ballot
	for photo := range scene.Photos {
		v := scene.view(photo)
		c := newLocus(scene.wheel(photo, side), RimCircle, face, v)
		q.not = isOutline(c.wheel, v)
		o := edgeObservation{photo: photo, side: side, kind: RimCircle, face: face}
		list = append(list, m.ask(&q, &c, o, m.probes(&c, photo, probeSpacingPx, rimVisible(&c)))...)
	}
	return list
}

// rimPoints finds the rim's edge in one photo near where it is predicted.
func (m *set) rimPoints(scene *Scene, photo int, side Side, face Face, edge rimEdge) []edgeObservation {
	v := scene.view(photo)
	c := newLocus(scene.wheel(photo, side), RimCircle, face, v)
	outline := isOutline(c.wheel, v)
	shift := scene.Photos[photo].EdgeOffset[1]
	o := edgeObservation{photo: photo, side: side, kind: RimCircle, face: face, sigma: rimSigmaPx}
	var list []edgeObservation
	for _, ip := range m.probes(&c, photo, probeSpacingPx, rimVisible(&c)) {
		p := m.probe(&c, &ip, rimJointWindow)
		p.At = p.Beside(shift)
		e, ok := strongestOf(m.inputs[photo].Photo.Gray.Edges(p), edge.sign)
		if !ok || e.Clear < rimClearPx || outline(&ip, shift+e.Offset) {
			continue
		}
		o.narrow = c.narrowing(&ip)
		list = append(list, o.seen(&p, ip.u, e))
	}
	return list
}

// isOutline says whether an edge, so far outward from a point of a rim, is the outline of
// the wheel's tyre.
func isOutline(w *Wheel, v view) func(ip *imagePoint, offset float64) bool {
	outline := newLocus(w, TyreOuter, 0, v)
	return func(ip *imagePoint, offset float64) bool {
		edge := calib.Point{X: ip.px.X + offset*ip.nx, Y: ip.px.Y + offset*ip.ny}
		near, ok := outline.nearest(edge, ip.u)
		return ok && math.Hypot(near.px.X-edge.X, near.px.Y-edge.Y) < outlineClearPx
	}
}

func strongestOf(edges []vision.Edge, sign float64) (best vision.Edge, ok bool) {
	for _, e := range edges {
		if e.Step*sign > max(rimMinStep, best.Step*sign) {
			best, ok = e, true
		}
	}
	return best, ok
}
