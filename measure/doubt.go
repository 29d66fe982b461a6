package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file widens the intervals of a single photo, where a mudguard may have been taken for
// part of a tyre's outline. A mudguard is a torus about nearly the same axle. Several photos show
// that it is another size (parts.go, rimSettles); a single one bends the lens to it, and its toe
// came out wrong by up to 12 mm in drawn photos, with little of what the outline should show
// agreeing. Of 30 given and drawn pairs and sets that were widened likewise, none was off by more than
// 1.3 times its uncertainty without, 0.6 times on average (RMS).

const (
	// plainDissent is the share of an outline that does not agree in a plain photo: what
	// cables, the frame, shadows and the other wheel cover.
	plainDissent = 0.2
	// Seen from behind, mudguards cover most of what shows of the tyres. Of 98 drawn photos in
	// which they passed for tyres so, both outlines dissented (by 0.23 at least, of 59), and total toe was
	// off by 6.0 mm (RMS), all to one side, by 11.8 at most: large pictures as small ones. Of 27
	// photos of bare wheels both outlines of six dissent.
	behindToeMm = 6.0
	// rimsAloneDoubt widens what two readings by the rims alone agree on: 14 drawn pairs and sets
	// were all inside so, 1.1 of what is stated off at most but for one (1.6).
	rimsAloneDoubt = 1.5
)

// doubt is the factor by which intervals grow, at least 1.
func (m *set) doubt(f *fitted) float64 {
	if m.approach.rimsAlone {
		return rimsAloneDoubt
	}
	if len(m.inputs) > 1 {
		return 1
	}
	l, r := 1-m.outlineShare(f, Left), 1-m.outlineShare(f, Right)
	doubt := max(plainDissent, l, r) / plainDissent
	if min(l, r) > plainDissent && f.scene.radiiAhead(0) < -1 {
		u := f.quantity(m.totalToeMm).StandardUncertainty
		doubt = max(doubt, math.Hypot(u, behindToeMm)/u)
	}
	return doubt
}

// radiiAhead is how far ahead of the front axle a photo was taken from, in radii of the tyres: from
// above within one, from behind by less than minus one.
func (s *Scene) radiiAhead(photo int) float64 {
	middle, forward, _ := s.frame()
	w := &s.Wheels[Left]
	return r3.Dot(forward, r3.Sub(s.view(photo).eye, middle)) / (w.Ring + w.Tube)
}
