package measure

import "rimpair/vision"

// This file asks whether a tyre's outline is all one body's. A mudguard is a torus about the
// same axle, some millimetres larger, and may be taken for the upper part of the tyre. No
// mudguard reaches the lower part. Where nothing much of that agrees, the mudguards alone were
// measured: so in 8 of 35 drawn single photos with mudguards (18 mm wrong in one), where of 144
// given and drawn ones without, the lower part of one tyre at least agreed by 0.35. Else what is
// seen of it bends to the mudguard, and toe came out 2 to 7 mm off in five of 30 drawn scenes, of
// the pairs with a photo from above: fitted to the lower part alone, such tyres get smaller (a
// specification test after Hausman, Econometrica 46, 1978: an estimate that holds in any case
// against one that holds only without mudguards).

// smallerZ is how many standard uncertainties smaller the tyres must get. Chosen between what was
// seen: of some 250 given and drawn sets and pairs without mudguards two reached 1.7 and 1.8, of
// drawn pairs in which mudguards were taken for tyres the least was 2.3.
const smallerZ = coverage95

// verifyParts refuses tyres of which the upper part is something larger than the lower part.
func (m *set) verifyParts(f *fitted) error {
	if m.hearing.lower == [2]bool{true, true} {
		return nil
	}
	lower := *m
	lower.hearing.lower = [2]bool{true, true}
	if m.hearing.lower == [2]bool{} && max(lower.outlineShare(f, Left), lower.outlineShare(f, Right)) < leastShare {
		return mudguards()
	}
	if len(m.inputs) < 2 {
		return nil // a single photo bends the lens to the mudguard
	}
	g, err := lower.fitJointly(f.scene, true)
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
	byLower := g.quantity(outer)
	if outer(f.scene)-byLower.Value < smallerZ*byLower.StandardUncertainty {
		return nil
	}
	return mudguards()
}

func mudguards() error {
	return &vision.Refusal{
		Code:   "mudguards",
		Reason: "The upper parts of the tyres' outlines seem to belong to something larger than the lower parts, as to mudguards.",
		Remedy: "Take the mudguards off where that is easy, or add photos from the front and the rear that show the rims from inside the vehicle; where there are none, check --rim and the rulers on the printed sheets.",
	}
}
