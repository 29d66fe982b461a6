package measure

import (
	"math"
)

// This file finds wheels by their rims' edges where mudguards hide the tyres: their edges pass
// for a tyre's outline, and outvote the little that is left of it. A rim's edge is seen from the
// inside of a vehicle, as no mudguard reaches there, and its size is known.

const (
	rimRoundsHeard = 3 // each where the last one put the wheel, since edges are linear only near it
	// How well the rim's edge then tells where the tyre is.
	rimPlaceSigmaMm  = 1.0
	rimPlaceSigmaRad = 0.003
	// leastByRims of a tyre's outline agrees where both rims' edges settle wheels: with less, in two
	// readings of each of two sets, another edge was one wheel's rim (921014, 1.3 and 2.3 mm off).
	leastByRims = 0.1
)

// hearRims lets the rims' edges vote on both wheels, as steps of the same sign, then what is
// left of the tyres' outlines on their size.
func (m *set) hearRims(scene *Scene) (elected hearing) {
	guess, best := scene.clone(), math.Inf(-1)
	for _, sign := range [2]float64{-1, 1} {
		var heard [2][]contender
		each(len(heard), func(side int) { heard[side] = m.rimContenders(guess, Side(side), sign) })
		trial := guess.clone()
		if h, score := m.elect(trial, &heard); score > best {
			elected, best, scene.Wheels = h, score, trial.Wheels
		}
	}
	for side := range scene.Wheels {
		w := &scene.Wheels[side]
		prior := m.guessPrior(w)
		for number := range wheelHeading {
			prior.know(number, 0, rimPlaceSigmaMm)
		}
		prior.know(wheelHeading, 0, rimPlaceSigmaRad)
		prior.know(wheelTilt, 0, rimPlaceSigmaRad)
		if list := poll(m.ballots(scene, Side(side), lowerVisible), &prior, ballotTolerance); len(list) > 0 {
			elected.support[side] = list[0].share
			*w = w.movedBy(&list[0].delta)
		}
	}
	return elected
}

// rimContenders are the wheels around a guessed one that the most of its rim's edges agree with.
func (m *set) rimContenders(guess *Scene, side Side, sign float64) (list []contender) {
	s := guess.clone()
	w := &s.Wheels[side]
	place := newLayout(s, free{tyres: [2]bool{side == Left, side == Right}})
	for range rimRoundsHeard {
		var ballots []ballot
		for _, face := range [2]Face{FaceLeft, FaceRight} {
			w.expectRim(face, m.knowledge.rims[side])
			ballots = append(ballots, m.rimBallots(s, side, face, rimQuestion(place, ballotWindowPx, sign))...)
		}
		prior := m.guessPrior(w)
		list = list[:0]
		for _, c := range poll(ballots, &prior, ballotTolerance) {
			list = append(list, contender{w.movedBy(&c.delta), c.share, true, len(ballots)})
		}
		if len(list) == 0 {
			break
		}
		*w = list[0].wheel
	}
	return list
}

// rimsReading is one way to read the photos, and the solution it led to.
type rimsReading struct {
	m set
	f *fitted
}

// byRimsAlone says whether a solution that was refused would be believed for both rims' edges,
// with hardly anything left of the tyres, and makes it such.
func (m *set) byRimsAlone(f *fitted) bool {
	if !m.approach.guarded || len(m.inputs) < 2 || m.verifyWheels(f) == nil {
		return false // refused for something else than too little of the tyres
	}
	if min(m.outlineShare(f, Left), m.outlineShare(f, Right)) < leastByRims {
		return false
	}
	m.approach.rimsAlone = true
	f.doubt = m.doubt(f)
	return m.believe(f) == nil
}

// alike says whether the last two readings by rims alone agree on toe, and which is the less
// certain: over short and over long stretches, edges other than the rims' lead elsewhere.
func alike(readings []rimsReading) (rimsReading, bool) {
	if len(readings) < 2 {
		return rimsReading{}, false
	}
	a, b := readings[len(readings)-2], readings[len(readings)-1]
	ta, tb := a.f.quantity(a.m.totalToeMm), b.f.quantity(b.m.totalToeMm)
	less, u := b, tb.StandardUncertainty
	if ta.StandardUncertainty >= u {
		less, u = a, ta.StandardUncertainty
	}
	return less, math.Abs(ta.Value-tb.Value) <= u
}
