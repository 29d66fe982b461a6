package measure

import (
	"errors"
	"math"
	"slices"

	"rimpair/vision"
)

// This file fits the tyres' outlines with the cameras held: windows that shrink
// around the predicted outline, and a robust loss that shrinks along.

const (
	// probeSpacingPx is the distance of edge points along a curve: beyond it their
	// errors no longer hang together.
	probeSpacingPx = 10.0
	// outlineSigmaPx and rimSigmaPx are the scatter of a single edge point.
	outlineSigmaPx = 0.2
	rimSigmaPx     = 0.35
	tukeyCut       = 4.0
	// coarseHalfLength is what each of them averages along the curve on coarse ground, px: some
	// grains of asphalt, a centimetre each, at about 2 px a millimetre.
	coarseHalfLength = 16
	// grainDeviations of the brightness along the curve are added to its mean on grainy ground.
	grainDeviations = 2
	// grainBesidePx is how far outside a tyre's outline the ground is looked at.
	grainBesidePx = 12.0
	// leastGrain of the ground makes it grainy: 0.25 to 0.35 beside seven tyres on asphalt in given
	// photos, 0.14 to 0.16 in two drawn ones, 0.11 at most elsewhere.
	leastGrain = 0.13
)

// windows are the half widths, in px, of the search for the outline's edge.
var windows = []float64{6, 5, 4}

// outsideStepRad is how far to go along a curve at least where it is outside the
// picture: near the camera's own plane it runs so fast that it would never end.
const outsideStepRad = 0.002

// probes are the places where a curve is looked for in a photo.
func (m *set) probes(c *locus, photo int, spacing float64, visible func(*imagePoint) bool) []imagePoint {
	gray := m.inputs[photo].Photo.Gray
	var list []imagePoint
	for u := 0.0; u < 2*math.Pi; {
		ip, ok := c.image(u)
		if !ok || ip.speed < 1 {
			u += 0.02
			continue
		}
		inside := ip.px.X > 0 && ip.px.Y > 0 && ip.px.X < float64(gray.Width) && ip.px.Y < float64(gray.Height)
		step := spacing / ip.speed
		if !inside {
			step = max(step, outsideStepRad)
		}
		u += step
		if inside && visible(&ip) {
			list = append(list, ip)
		}
	}
	return list
}

// outlineVisible leaves out where the tyre is flattened on the floor and where the
// contour is not the tread's.
func outlineVisible(ip *imagePoint) bool {
	return ip.at.Z > floorBlindMm && ip.radial > 0.05
}

// lowerVisible is outlineVisible of the lower part alone, to which no mudguard reaches.
func lowerVisible(ip *imagePoint) bool {
	return outlineVisible(ip) && math.Sin(ip.u) <= belowSin
}

// upperVisible is outlineVisible of the rest.
func upperVisible(ip *imagePoint) bool { return outlineVisible(ip) && !lowerVisible(ip) }

// outlineFree is what is visible of the outline, of the lower part alone where a mudguard
// covers the rest.
func (m *set) outlineFree(side Side) func(*imagePoint) bool {
	if m.hearing.lower[side] {
		return lowerVisible
	}
	return outlineVisible
}

// probe is the line across a curve's point on which its edge is looked for.
func (m *set) probe(c *locus, ip *imagePoint, halfWidth float64) vision.Probe {
	p := vision.Probe{At: ip.px, NX: ip.nx, NY: ip.ny, HalfWidth: halfWidth, Curvature: c.curvature(ip)}
	if m.approach.coarse {
		p.HalfLength = coarseHalfLength
	}
	if m.approach.grainy && c.kind == TyreOuter {
		p.Grain = grainDeviations
	}
	return p
}

// grain is the median grain of what lies beside the outlines of the best of guessed wheels, as
// vision.GrainBeside says it; 0 where there are none.
func (m *set) grain(pairs []pairGuess) float64 {
	if len(pairs) == 0 {
		return 0
	}
	scene := m.scene.clone()
	var list []float64
	for photo := range scene.Photos {
		for side, g := range pairs[0].wheels() {
			scene.Wheels[side] = g.wheel()
			c := newLocus(scene.wheel(photo, Side(side)), TyreOuter, 0, scene.view(photo))
			for _, ip := range m.probes(&c, photo, coarseHalfLength, outlineVisible) {
				p := m.probe(&c, &ip, 0)
				p.HalfLength = coarseHalfLength
				if grain, ok := m.inputs[photo].Photo.Gray.GrainBeside(&p, grainBesidePx); ok {
					list = append(list, grain)
				}
			}
		}
	}
	if len(list) == 0 {
		return 0
	}
	return median(list)
}

// outlinePoints finds the edge of a tyre against its surroundings in one photo:
// of the rises within the window the outermost that is nearly as strong as the
// strongest, since stripes and the tread's own shading lie inside the outline.
func (m *set) outlinePoints(scene *Scene, photo int, side Side, window, sigma float64) []edgeObservation {
	points, _ := m.outlineAmong(scene, photo, side, window, sigma, m.outlineFree(side))
	return points
}

// outlineAmong finds it on a part of the outline, and says in how many places it was looked for.
func (m *set) outlineAmong(scene *Scene, photo int, side Side, window, sigma float64, visible func(*imagePoint) bool) (points []edgeObservation, probes int) {
	c := newLocus(scene.wheel(photo, side), TyreOuter, 0, scene.view(photo))
	o := edgeObservation{photo: photo, side: side, kind: TyreOuter, sigma: sigma}
	places := m.probes(&c, photo, probeSpacingPx, visible)
	return m.contourPoints(&c, o, scene.Photos[photo].EdgeOffset[0], window, places, mayEndTyre), len(places)
}

// contourPoints finds the edges at some places of a contour; o says of what, shift how
// far outward they seem to lie, and counts whether an edge may be the contour's; nil: any.
func (m *set) contourPoints(c *locus, o edgeObservation, shift, window float64, places []imagePoint, counts edgeTest) []edgeObservation {
	photo := m.inputs[o.photo].Photo
	var list []edgeObservation
	for _, ip := range places {
		p := m.probe(c, &ip, window)
		p.At = p.Beside(shift)
		edge, ok := outermostRise(photo.Gray.Edges(p))
		if !ok || window <= jointWindowPx && edge.Clear < minClearPx && p.Grain == 0 || counts != nil && !counts(photo, &p, &edge) {
			continue
		}
		list = append(list, o.seen(&p, ip.u, edge))
	}
	return list
}

const (
	// minClearPx is the distance from which another edge, blurred by about 1 px,
	// moves this one by less than 0.05 px.
	minClearPx      = 3.5
	nearlyStrongest = 0.5
	minOutlineStep  = 0.08
)

// edgeTest says whether an edge that a probe met may be what is looked for.
type edgeTest func(*vision.Photo, *vision.Probe, *vision.Edge) bool

// mayEndTyre says whether a tyre may end at an edge. Seen from the front or the rear a tan
// side wall, or a stripe, is a thin strip along the outline. The tread's edge against it is
// the strongest, 1 to 4 px inside the outline, and the strip itself often as light as the
// floor: so light that brightness falls again beyond it, or to be told by its colour alone.
func mayEndTyre(photo *vision.Photo, p *vision.Probe, e *vision.Edge) bool {
	return e.Reversal <= lineStep && photo.Tint(p, e) >= leastTint
}

// Of 34,000 plain rises around true outlines, drawn, 5 % lie more than 0.3 px inside; of
// those that a fall of lineStep follows, or whose tint is less, 55 to 95 %.
const (
	lineStep  = 0.1
	leastTint = 0.9
)

func outermostRise(edges []vision.Edge) (vision.Edge, bool) {
	strongest := 0.0
	for _, e := range edges {
		strongest = max(strongest, e.Step)
	}
	for _, e := range slices.Backward(edges) {
		if e.Step >= max(minOutlineStep, nearlyStrongest*strongest) {
			return e, true
		}
	}
	return vision.Edge{}, false
}

// fitTyres improves both wheels' tyres, cameras and sheets held.
func (m *set) fitTyres(scene *Scene) (*Scene, error) {
	for _, window := range windows {
		a := adjustment{layout: newLayout(scene, free{tyres: [2]bool{true, true}}), edgeLoss: Tukey(tukeyCut)}
		for photo := range scene.Photos {
			for side := range scene.Wheels {
				a.edges = append(a.edges, m.outlinePoints(scene, photo, Side(side), window, max(outlineSigmaPx, window/8))...)
			}
		}
		a.priors = m.knowledge.priors(scene, &a.layout)
		solution, err := Solve(a.problem(), scene, solverOptions)
		// While edges still change from window to window, a minimum is not owed.
		if err != nil && !errors.Is(err, ErrNotConverged) {
			return nil, err
		}
		scene = solution.State
	}
	return scene, nil
}
