package measure

import (
	"math"

	"rimpair/vision"
)

// This file asks whether a tyre's outline is all one body's. A mudguard is a torus about the
// same axle, some millimetres larger, and may be taken for the upper part of the tyre. No
// mudguard reaches the lower part. Where nothing much of that agrees, the mudguards alone were
// measured: so in 8 of 35 drawn single photos with mudguards (18 mm wrong in one), where of 144
// given and drawn ones without, the lower part of one tyre at least agreed by 0.35. Else what is
// seen of it bends to the mudguard, and toe came out 2 to 7 mm off in five of 30 drawn scenes, of
// the pairs with a photo from above: fitted to the lower part alone, such tyres get smaller, or
// come to stand lower, or their rims' edges lead elsewhere (specification tests after Hausman,
// Econometrica 46, 1978: an estimate that holds in any case against one that holds only without
// mudguards).

const (
	// partsZ is how many standard uncertainties smaller or lower the tyres must get. Chosen between
	// what was seen. Without mudguards, given and drawn: two of some 250 sets and pairs reached 1.7
	// and 1.8 in size, one of 167 1.5 in height. Where mudguards were taken for tyres: 2.3 and more
	// in size, or else 3.6 in height.
	partsZ = coverage95
	// rimsZ is how many wheels must toe elsewhere by their rims: of 85 drawn sets and pairs without
	// mudguards one reached 1.2, a given pair 2.0; where they were taken for tyres, 3.3.
	rimsZ = 2.5
	// lowerShare is how much of the lower part of either tyre must agree where no rim is seen and one
	// photo is from above. Of 24 drawn scenes with mudguards two such pairs had 0.25 and 0.27, 5 and
	// 3 mm wrong at u 0.8. Without mudguards two had 0.80 at least, one 0.20; from the front and
	// the rear coarse ground leaves as little, and there no pair was wrong for that.
	lowerShare = 1.0 / 3
	// bareShare is how much of the lower part of one tyre agrees with what was heard all around where
	// that is the tyre: of 21 drawn pairs without mudguards, printed at 97 %, 0.51 at least, both
	// tyres 3.9 mm and more too large on average; of 24 with mudguards taken for both tyres 0.28 at
	// most, of three from above 0.43 to 0.60, smaller than said or by less than 1 mm larger.
	bareShare = 0.4
	// upperShare is how much of the upper part of a tyre must agree, within upperPx, with what its lower
	// part alone says, for it to be the same tyre's. Under mudguards, where they are close by: 0.34 at
	// most in some 190 readings of 24 drawn and three given sets, but for one of 0.54. Without, in
	// given photos that were read so: 0.78 to 1 in eight of nine, 0.2 to 0.6 on asphalt.
	upperShare = 0.7
	upperPx    = 1.0
)

// upperSeen says whether tyres of which only the lower parts were heard are seen above as well,
// where those put them: nothing hides that. The lower part may win a vote by little and for nothing
// but chance.
func (m *set) upperSeen(f *fitted) bool {
	for side, lower := range m.hearing.lower {
		if lower && m.upperMet(f, Side(side)) < upperShare {
			return false
		}
	}
	return !m.allAround()
}

// upperMet is how much of a tyre's upper part has an edge where the solution puts it.
func (m *set) upperMet(f *fitted, side Side) float64 {
	var upper tally
	for photo := range f.scene.Photos {
		points, probes := m.outlineAmong(f.scene, photo, side, jointWindowPx, outlineSigmaPx, upperVisible)
		upper.probes += probes
		for _, seen := range points {
			upper.agreeing += count(math.Abs(seen.edge.Offset) < upperPx)
		}
	}
	return upper.share()
}

// verifyParts refuses tyres of which the upper part is something larger than the lower part.
func (m *set) verifyParts(f *fitted) error {
	if m.lowerAlone() {
		return nil
	}
	if m.allAround() && m.lowerMet(f) < leastShare {
		return mudguards(largerAbove)
	}
	if len(m.inputs) < 2 {
		return nil // a single photo bends the lens to the mudguard
	}
	g, err := m.lowerParts().fitJointly(f.scene, true)
	if err != nil {
		return nil // what does not settle the wheels does not contradict them either
	}
	// Both have the same mudguards, so they are asked together.
	outer := func(s *Scene) (sum float64) {
		for side, w := range s.Wheels {
			if !m.hearing.lower[side] {
				sum += w.Ring + w.Tube
			}
		}
		return sum
	}
	if f.beyond(g, outer) < partsZ {
		return nil
	}
	if m.missized(f) { // what was said of the size pulls as well, at less of an outline the more
		return m.printDoubted(m.tyresOffMm(f.scene))
	}
	return mudguards(largerAbove)
}

// missized says whether the tyres themselves were heard all around, larger than said: no other
// way to read the photos is to be tried then. A vehicle has mudguards on both sides, so one bare
// tyre will do. Where mudguards are taken for tyres these come out smaller as often.
func (m *set) missized(f *fitted) bool {
	return m.allAround() && 2*m.tyresOffMm(f.scene) > leastSizeOffMm && m.lowerMet(f) >= bareShare
}

// lowerMet is how much agrees of what no mudguard hides of a tyre, of the tyre of which more does.
func (m *set) lowerMet(f *fitted) float64 {
	lower := m.lowerParts()
	return max(lower.outlineShare(f, Left), lower.outlineShare(f, Right))
}

// lowerParts is the same set of which only the lower parts of the tyres are heard.
func (m *set) lowerParts() *set {
	lower := *m
	lower.hearing.lower = [2]bool{true, true}
	return &lower
}

// beyond is by how much more something is than another solution makes it, in that one's standard
// uncertainties.
func (f *fitted) beyond(other *fitted, of func(*Scene) float64) float64 {
	q := other.quantity(of)
	return (of(f.scene) - q.Value) / q.StandardUncertainty
}

// verifyPair refuses two photos whose tyres come to stand lower by their lower parts, or whose
// wheels toe otherwise where the rims' edges are heard first. So do wheels that moved or are of
// another size, hence it is asked last. A photo from above shows mudguards nearly whole: where no rim
// is seen and hardly those parts, nothing speaks against them.
func (m *set) verifyPair(f *fitted) error {
	if len(m.inputs) != guardedPhotos || m.lowerAlone() || m.rimsSettle(f) {
		return nil
	}
	lower := m.lowerParts()
	fromAbove := math.Abs(f.scene.radiiAhead(0)) < 1 || math.Abs(f.scene.radiiAhead(1)) < 1
	if fromAbove && !m.rimSeen(Left) && !m.rimSeen(Right) && min(lower.outlineShare(f, Left), lower.outlineShare(f, Right)) < lowerShare {
		return mudguards(nothingElse)
	}
	if g, err := lower.fitJointly(f.scene, true); err == nil {
		for side := range f.scene.Wheels {
			if f.beyond(g, func(s *Scene) float64 { return s.Wheels[side].Centre.Z }) >= partsZ {
				return mudguards(largerAbove)
			}
		}
	}
	if g := m.byRims(); g != nil && math.Abs(f.beyond(g, m.totalToeMm)) >= rimsZ {
		return mudguards(largerAbove)
	}
	return nil
}

// byRims is the solution with the rims' edges heard first, where that is believed by itself; else nil.
func (m *set) byRims() *fitted {
	rims := *m
	rims.approach.guarded, rims.settings.BeadSeatMm = true, m.sizeSoFarMm()
	g, err := rims.fitFrom(ofSize(m.pairs, rims.settings.BeadSeatMm))
	if err != nil || rims.verify(g) != nil || rims.verifySize(g) != nil {
		return nil
	}
	return g
}

const (
	largerAbove = "The upper parts of the tyres' outlines seem to belong to something larger than the lower parts, as to mudguards."
	nothingElse = "Neither rim is seen, and of one tyre less than a third of what no mudguard could hide: its outline may be the mudguard's."
)

func mudguards(reason string) error {
	return &vision.Refusal{
		Code:   "mudguards",
		Reason: reason,
		Remedy: "Take the mudguards off where that is easy, or add photos from the front and the rear that show the rims from inside the vehicle; where there are none, check --rim and the rulers on the printed sheets.",
	}
}
