package measure

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// This file finds the rear wheel by its tyre's outline, once the front wheels and the
// cameras are settled. It stands behind the front axle near the vehicle's middle; from
// the front the seat hides it, from behind the frame covers its upper end, and often the
// picture ends before the wheel does. So places are tried in each photo by itself, the
// best are heard by vote and fitted, and a wheel that is not plainly seen is left out.
//
// Seen from behind, nearly along the wheel, only one flank of the tyre stands against the
// floor: the outer contour of its near half. Beside the other lie spokes, rim and the far
// half, whose edges fit wheels of wrong sizes, so it is not looked at. One flank tells the
// wheel's plane well and its size hardly; the size is therefore left free between all that
// rear wheels have, and what that leaves open is in the uncertainty.

// rearWheel is the rear wheel with what it was made of.
type rearWheel struct {
	Wheel
	state      int    // of the vehicle, in which it was seen
	scene      *Scene // of that state, with the rear wheel in the left one's place
	photo      int    // that shows it
	adjustment adjustment
	residuals  []float64
	covariance *mat.SymDense // see behindFront
}

const (
	// Where a rear wheel can stand behind the front axle and beside its middle: builders'
	// practice, no source.
	rearNearestMm, rearFarthestMm = 500.0, 1400.0
	rearBesideMm                  = 75.0
	maxRearHeadingRad             = 0.1 // against the front axle's normal
	maxRearTiltRad                = 0.1
	// Radius of its bead seat, of 305 to 622 mm in diameter (ISO 5775-2, from memory), any
	// equally likely: mean and standard uncertainty.
	rearBeadMm, rearBeadSigmaMm = 232.0, 46.0
	rearTubeSigmaMm             = 4.0 // of its tyre's half width against the front ones'

	rearAlongStepMm, rearBesideStepMm = 30.0, 25.0
	rearApartMm                       = 2 * rearAlongStepMm // of guesses that climb to different peaks
	rearClimbed                       = 5                   // guesses of each size
	rearHearings                      = 3
	rearPhotosDiffer                  = 2.6 // standard uncertainties: one in a hundred
	rearReachPx                       = 5.0 // beyond which steps of full size tell no places apart
	rearLeastScore                    = 0.3
	rearTightPx                       = 1.0 // within which an edge agrees in the last vote
	besideWheelMm                     = 150.0

	// What is asked of a wheel that is believed. A front tyre needs less of its outline,
	// for the other one stands beside it.
	rearSeenShare          = 0.25 // of the outline, that lies in the picture
	rearClearShare         = 0.8  // of its half that is turned to the camera, which agrees
	rearWholeShare         = 0.65 // of both halves, where both are asked
	rearMostShare          = 1.1  // beyond, the outline turns back on itself where it was probed
	rearLeastPoints        = 50
	rearOffFloorMm         = 9.0
	maxRearHeadingSigmaRad = 0.4 / degPerRad
)

// rearBeadSeats are bead seat diameters that the search starts from, mm.
var rearBeadSeats = []float64{305, 372, 440, 507, 573}

// axleFrame is the front axle seen from above: its middle, to the right, and back.
type axleFrame struct{ middle, right, back r3.Vec }

func (s *Scene) axleFrame() axleFrame {
	l, r := s.Wheels[Left].Centre, s.Wheels[Right].Centre
	middle, across := r3.Scale(0.5, r3.Add(l, r)), r3.Sub(r, l)
	middle.Z, across.Z = 0, 0
	across = r3.Unit(across)
	return axleFrame{middle: middle, right: across, back: r3.Vec{X: across.Y, Y: -across.X}}
}

func (a *axleFrame) headingRad() float64 { return math.Atan2(a.right.Y, a.right.X) }

// rearGuess is a rear wheel to be scored, against the front axle.
type rearGuess struct {
	back, beside, headingRad, tiltRad, outer float64
	bead                                     float64 // radius
	photo                                    int
	score                                    float64
}

// rearSeeker scores rear wheels that are guessed.
type rearSeeker struct {
	seeker
	axle axleFrame
}

func (k *rearSeeker) wheel(g *rearGuess) Wheel {
	p := r3.Add(k.axle.middle, r3.Add(r3.Scale(g.back, k.axle.back), r3.Scale(g.beside, k.axle.right)))
	return guess{x: p.X, y: p.Y, headingRad: k.axle.headingRad() + g.headingRad, tiltRad: g.tiltRad, outer: g.outer, bead: g.bead}.wheel()
}

func (g rearGuess) rank() float64 { return g.score }

// near says that two guesses climb to the same peak.
func (g rearGuess) near(o rearGuess) bool {
	return math.Hypot(o.back-g.back, o.beside-g.beside) < rearApartMm
}

func (g *rearGuess) plausible() bool {
	return g.back >= rearNearestMm && g.back <= rearFarthestMm && math.Abs(g.beside) <= rearBesideMm &&
		math.Abs(g.headingRad) <= maxRearHeadingRad && math.Abs(g.tiltRad) <= maxRearTiltRad &&
		g.outer >= g.bead+minSectionMm && g.outer <= g.bead+maxSectionMm
}

// rate is the mean step across the outline, less where much of it is not in the picture.
func (k *rearSeeker) rate(g *rearGuess, reach float64) float64 {
	w := k.wheel(g)
	pose := k.views[g.photo].pose
	c := newLocus(&w, TyreOuter, 0, k.views[g.photo])
	visible := c.visibleBehind()
	sum, seen, asked := 0.0, 0, 0
	for _, a := range k.angles {
		p, ok := c.pointAt(a.sin, a.cos)
		if !ok || !visible(&p, c.axes.spoke(a.sin, a.cos)) {
			continue
		}
		asked++
		if step, ok := k.step(g.photo, pose.Apply(p.at), pose.R.Apply(p.outward), reach); ok {
			seen++
			sum += max(-stepClip, min(stepClip, step))
		}
	}
	if seen == 0 || float64(seen) < rearSeenShare*float64(asked) {
		return 0
	}
	return sum / math.Sqrt(float64(seen*asked))
}

// visibleBehind tells what of an outline is seen that other parts of the wheel do not
// cover: the half that turns its tread to the camera, and the far half where the camera
// stands well beside the wheel.
func (c *locus) visibleBehind() func(p *contourPoint, spoke r3.Vec) bool {
	beside := math.Abs(r3.Dot(c.axes.axle, r3.Sub(c.eye, c.centre))) > besideWheelMm
	return func(p *contourPoint, spoke r3.Vec) bool {
		return p.at.Z > floorBlindMm && p.radial > 0 && (beside || c.turnedHere(p, spoke))
	}
}

// turnedHere says whether the tread at a point of the outline is turned to the camera.
func (c *locus) turnedHere(p *contourPoint, spoke r3.Vec) bool {
	return r3.Dot(spoke, r3.Sub(c.eye, p.at)) > 0
}

// rearVisible is visibleBehind for points in the picture.
func (c *locus) rearVisible() func(*imagePoint) bool {
	visible := c.visibleBehind()
	return func(ip *imagePoint) bool {
		sin, cos := math.Sincos(ip.u)
		return visible(&ip.contourPoint, c.axes.spoke(sin, cos))
	}
}

func (k *rearSeeker) climb(g rearGuess, reach float64, steps []float64) rearGuess {
	g.score = k.rate(&g, reach)
	return climb(g, steps, 3, func(from rearGuess, number int, by float64) (rearGuess, float64, float64) {
		to := from
		*[...]*float64{&to.back, &to.beside, &to.headingRad, &to.tiltRad, &to.outer}[number] += by
		if !to.plausible() {
			return to, from.score, from.score
		}
		to.score = k.rate(&to, reach)
		return to, to.score, from.score
	})
}

// guessRear are places for a rear wheel, the best of each photo and size, with the
// wheels that they mean. Only photos of the state are asked.
func (m *set) guessRear(scene *Scene, shows func(photo int) bool) (guesses []rearGuess, wheels []Wheel) {
	f := m.newFinder(scene)
	coarse := rearSeeker{*f.rough(), scene.axleFrame()}
	fine := rearSeeker{*f.fine(), coarse.axle}
	guesses = make([]rearGuess, len(m.inputs)*len(rearBeadSeats))
	each(len(guesses), func(i int) {
		photo, bead := i/len(rearBeadSeats), rearBeadSeats[i%len(rearBeadSeats)]/2
		if !shows(photo) {
			return
		}
		if r3.Dot(r3.Sub(f.views[photo].eye, coarse.axle.middle), coarse.axle.back) < 0 {
			return // from before the axle, where the seat hides it
		}
		var list []rearGuess
		for back := rearNearestMm; back <= rearFarthestMm; back += rearAlongStepMm {
			for beside := -rearBesideMm; beside <= rearBesideMm; beside += rearBesideStepMm {
				g := rearGuess{back: back, beside: beside, bead: bead, outer: bead + 2*scene.tubeMm(), photo: photo}
				g.score = coarse.rate(&g, gridReachPx)
				list = append(list, g)
			}
		}
		for _, g := range bestApart(list, rearClimbed, rearGuess.rank, rearGuess.near) {
			g = coarse.climb(g, climbReachPx, []float64{10, 8, 0.02, 0.015, 4})
			g = fine.climb(g, fineReachPx, []float64{5, 4, 0.01, 0.01, 2})
			g = fine.climb(g, rearReachPx, []float64{3, 2, 0.006, 0.006, 2})
			if g.score > guesses[i].score {
				guesses[i] = g
			}
		}
	})
	guesses = slices.DeleteFunc(guesses, func(g rearGuess) bool { return g.score < rearLeastScore })
	for i := range guesses {
		wheels = append(wheels, fine.wheel(&guesses[i]))
	}
	return guesses, wheels
}

// tubeMm is half the width of the front tyres.
func (s *Scene) tubeMm() float64 { return (s.Wheels[Left].Tube + s.Wheels[Right].Tube) / 2 }

// plainestRear is the rear wheel in the state that shows its direction best; nil where
// none shows it plainly.
func (m *set) plainestRear(f *fitted) *rearWheel {
	var best *rearWheel
	for state := range max(1, len(f.scene.Changes)) {
		if r := m.findRear(f, state); r != nil && (best == nil || r.sigma(wheelHeading) < best.sigma(wheelHeading)) {
			best = r
		}
	}
	return best
}

// findRear finds the rear wheel as it stood in a state, between the front wheels of that
// state; nil where none is plainly seen.
func (m *set) findRear(f *fitted, state int) *rearWheel {
	scene := f.scene.alone(state)
	trial := *m
	trial.knowledge.rims[Left], trial.knowledge.rimSigma = rearBeadMm, rearBeadSigmaMm
	guesses, wheels := trial.guessRear(scene, func(photo int) bool { return f.scene.Photos[photo].State == state })
	tried := make([]*rearWheel, len(guesses))
	each(len(guesses), func(i int) { tried[i] = trial.settleRear(f, scene, &wheels[i], guesses[i].photo) })
	clear := slices.DeleteFunc(tried, func(r *rearWheel) bool { return r == nil })
	if len(clear) == 0 {
		return nil
	}
	best := slices.MinFunc(clear, func(a, b *rearWheel) int { return cmp.Compare(a.sigma(wheelHeading), b.sigma(wheelHeading)) })
	if slices.ContainsFunc(clear, best.contradicts) {
		return nil
	}
	best.state = state
	for _, o := range clear {
		best.spread(o, len(clear))
	}
	return best
}

// settleRear settles a guessed rear wheel; nil where it is not plainly seen. Along a flank
// wheels of other sizes fit for a stretch: the edges are heard again from where they led to.
func (m *set) settleRear(f *fitted, scene *Scene, guess *Wheel, photo int) *rearWheel {
	w := *guess
	for range rearHearings {
		r := m.hearRear(scene, &w, photo)
		if m.fitRear(f, &r) != nil {
			return nil
		}
		if m.rearClear(scene, &r) {
			return &r
		}
		w = r.Wheel
	}
	return nil
}

// contradicts says whether two wheels cannot both be right: from the same edges they
// come out the same, from two photos within what their edges leave open.
func (r *rearWheel) contradicts(o *rearWheel) bool {
	limit := 1.0
	if r.photo != o.photo {
		limit = rearPhotosDiffer
	}
	return math.Abs(r.HeadingRad-o.HeadingRad) > limit*math.Hypot(r.sigma(wheelHeading), o.sigma(wheelHeading))
}

// spread adds to the uncertainty what another start of the search came to: as a size that
// the edges hardly settle is found, the descent may end a little aside. Another photo's
// edges say that themselves.
func (r *rearWheel) spread(o *rearWheel, found int) {
	if r.photo != o.photo {
		return
	}
	n := r.covariance.SymmetricDim() - tyreNumbers
	d := r.difference(&o.Wheel)
	for i := range tyreNumbers {
		for j := i; j < tyreNumbers; j++ {
			r.covariance.SetSym(n+i, n+j, r.covariance.At(n+i, n+j)+d[i]*d[j]/float64(found))
		}
	}
}

// difference of the tyre's numbers.
func (w *Wheel) difference(o *Wheel) [tyreNumbers]float64 {
	move := r3.Sub(o.Centre, w.Centre)
	return [...]float64{move.X, move.Y, move.Z, o.HeadingRad - w.HeadingRad, o.TiltRad - w.TiltRad, o.Ring - w.Ring, o.Tube - w.Tube}
}

// sigma is the standard uncertainty of one of the tyre's numbers.
func (r *rearWheel) sigma(number int) float64 {
	i := r.covariance.SymmetricDim() - tyreNumbers + number
	return math.Sqrt(r.covariance.At(i, i))
}

// hearRear lets the edges around a guessed rear wheel vote, the last time within less.
func (m *set) hearRear(scene *Scene, w *Wheel, photo int) rearWheel {
	r := rearWheel{scene: scene.clone(), photo: photo, Wheel: *w}
	for _, tolerance := range [...]float64{ballotTolerance, ballotTolerance, rearTightPx} {
		r.scene.Wheels[Left] = r.Wheel
		q := question{
			layout:   newLayout(r.scene, free{tyres: [2]bool{Left: true}}),
			windowPx: ballotWindowPx, sign: 1, leastStep: minOutlineStep, fullStep: fullOfferStep,
		}
		c := newLocus(&r.Wheel, TyreOuter, 0, r.scene.view(photo))
		ballots := m.ask(&q, &c, edgeObservation{photo: photo, side: Left, kind: TyreOuter}, m.probes(&c, photo, ballotSpacingPx, c.rearVisible()))
		if len(ballots) < fewBallots {
			return r
		}
		prior := m.guessPrior(&r.Wheel)
		won := poll(ballots, &prior, tolerance)[0]
		r.Wheel = r.movedBy(&won.delta)
	}
	r.scene.Wheels[Left] = r.Wheel
	return r
}

// rearWindows are the half widths, in px, of the search for the outline's edge.
var rearWindows = []float64{6, 5, jointWindowPx, jointWindowPx, jointWindowPx}

// fitRear adjusts the rear wheel to its outline, cameras held.
func (m *set) fitRear(f *fitted, r *rearWheel) error {
	learned := scatter{}
	for round, window := range rearWindows {
		a := adjustment{layout: newLayout(r.scene, free{tyres: [2]bool{Left: true}}), edgeLoss: Tukey(tukeyCut)}
		c := newLocus(&r.Wheel, TyreOuter, 0, r.scene.view(r.photo))
		places := m.probes(&c, r.photo, probeSpacingPx, c.rearVisible())
		o := edgeObservation{photo: r.photo, side: Left, kind: TyreOuter, sigma: outlineSigmaPx}
		a.edges = m.contourPoints(&c, o, r.scene.Photos[r.photo].EdgeOffset[0], window, places, nil)
		a.dropStrays(r.scene, strayLimits[round])
		a.trust(learned)
		tube := a.layout.wheels[Left][wheelTube:][:1]
		a.priors = append(m.knowledge.wheelPriors(Left, &a.layout), prior{
			source: sourceTyreShape, columns: tube, mean: f.scene.tubeMm(), sigma: rearTubeSigmaMm,
			value: func(s *Scene) float64 { return s.Wheels[Left].Tube },
		})
		solution, err := Solve(a.problem(), r.scene, solverOptions)
		last := round == len(rearWindows)-1
		if err != nil && (last || !errors.Is(err, ErrNotConverged)) {
			return err
		}
		r.scene, r.adjustment, r.Wheel = solution.State, a, solution.State.Wheels[Left]
		r.residuals = a.edgeResiduals(r.scene)
		learned = a.learn(r.residuals, 1)
		if last {
			r.behindFront(f, &solution)
		}
	}
	return nil
}

// rearClear says whether a careful eye would believe the rear wheel.
func (m *set) rearClear(front *Scene, r *rearWheel) bool {
	axle := front.axleFrame()
	from := r3.Sub(r.Centre, axle.middle)
	back := r3.Dot(from, axle.back)
	switch {
	case back < rearNearestMm, back > rearFarthestMm, math.Abs(r3.Dot(from, axle.right)) > rearBesideMm,
		math.Abs(r.HeadingRad-axle.headingRad()) > maxRearHeadingRad, math.Abs(r.TiltRad) > maxRearTiltRad,
		r.Tube < leastTubeMm, math.Abs(r.Centre.Z+hubSinkMm-r.Ring-r.Tube) > rearOffFloorMm:
		return false
	}
	here, all := m.rearTally(r)
	return here.share() >= rearClearShare && all.share() >= rearWholeShare && all.share() <= rearMostShare &&
		all.agreeing >= rearLeastPoints && r.sigma(wheelHeading) <= maxRearHeadingSigmaRad
}

// rearTally tallies the half of the outline that is turned to the camera, for the frame's
// fork covers some of the other on every vehicle, and all of it.
func (m *set) rearTally(r *rearWheel) (here, all tally) {
	c := newLocus(&r.Wheel, TyreOuter, 0, r.scene.view(r.photo))
	turned := func(ip *imagePoint) bool {
		sin, cos := math.Sincos(ip.u)
		return c.turnedHere(&ip.contourPoint, c.axes.spoke(sin, cos))
	}
	for _, ip := range m.probes(&c, r.photo, probeSpacingPx, c.rearVisible()) {
		all.probes++
		if turned(&ip) {
			here.probes++
		}
	}
	for i, o := range r.adjustment.edges {
		if math.Abs(r.residuals[i]) >= agreeingPx {
			continue
		}
		all.agreeing++
		if ip, ok := c.nearest(o.at, o.u); ok && turned(&ip) {
			here.agreeing++
		}
	}
	return here, all
}
