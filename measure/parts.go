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

// partsZ is how many standard uncertainties smaller or lower the tyres must get, or elsewhere by
// their rims. Chosen between what was seen: of some 350 given and drawn sets and pairs without
// mudguards two reached 1.7 and 1.8 in size, one 1.5 in height, and by the rims 1.2; of drawn pairs
// in which mudguards were taken for tyres the least were 2.3, 3.6 and 3.3, each in one way or another.
const partsZ = coverage95

// verifyParts refuses tyres of which the upper part is something larger than the lower part, or
// higher up.
func (m *set) verifyParts(f *fitted) error {
	if m.lowerAlone() {
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
	// Both have the same mudguards, so their sizes are asked together.
	outer := func(s *Scene) (sum float64) {
		for side, w := range s.Wheels {
			if !m.hearing.lower[side] {
				sum += w.Ring + w.Tube
			}
		}
		return sum
	}
	height := func(side Side) func(*Scene) float64 {
		return func(s *Scene) float64 { return s.Wheels[side].Centre.Z }
	}
	for _, of := range []func(*Scene) float64{outer, height(Left), height(Right)} {
		if f.beyond(g, of) >= partsZ {
			return mudguards()
		}
	}
	return m.verifyByRims(f)
}

// beyond is by how much more something is than another solution makes it, in that one's standard
// uncertainties.
func (f *fitted) beyond(other *fitted, of func(*Scene) float64) float64 {
	q := other.quantity(of)
	return (of(f.scene) - q.Value) / q.StandardUncertainty
}

// verifyByRims refuses two photos whose wheels toe otherwise where the rims' edges are heard first,
// and what is left of the tyres with them: where that is believed by itself.
func (m *set) verifyByRims(f *fitted) error {
	if len(m.inputs) > guardedPhotos || m.approach.guarded || m.rimSettles(f, Left) && m.rimSettles(f, Right) {
		return nil
	}
	byRims := *m
	byRims.approach.guarded, byRims.settings.BeadSeatMm = true, m.sizeSoFarMm()
	scene, err := byRims.seekFrom(ofSize(m.pairs, byRims.settings.BeadSeatMm))
	if err != nil {
		return nil
	}
	g, err := byRims.fit(scene)
	if err != nil || byRims.verify(g) != nil || byRims.verifySize(g) != nil {
		return nil
	}
	if math.Abs(f.beyond(g, m.totalToeMm)) < partsZ {
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
