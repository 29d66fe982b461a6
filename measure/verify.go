package measure

import "math"

// This file asks of a solution whether a careful eye would believe it.

// outlineShare is the share of a tyre's outline, where photos could show it, that
// agrees with the solution.
func (m *set) outlineShare(f *fitted, side Side) float64 {
	probes, agreeing := 0, 0
	for photo := range f.scene.Photos {
		c := newLocus(&f.scene.Wheels[side], TyreOuter, 0, f.scene.view(photo))
		probes += len(m.probes(&c, photo, probeSpacingPx, outlineVisible))
	}
	residuals := f.adjustment.edgeResiduals(f.scene)
	for i, o := range f.adjustment.edges {
		if o.side == side && o.kind == TyreOuter && math.Abs(residuals[i]) < agreeingPx {
			agreeing++
		}
	}
	return float64(agreeing) / float64(max(1, probes))
}

// agreeingPx is the distance within which an edge agrees with the solution.
const agreeingPx = 0.5
