package vision

import "rimpair/calib"

// Tint is the share of blue in the light just beyond an edge, against that farther out. A
// strip of tan along a body, as light as the floor behind it, is no edge in grey, but it has
// half the floor's blue. 1 where the photo has no colours or the probe leaves it.
func (p *Photo) Tint(probe *Probe, e *Edge) float64 {
	near, far := 0.0, 0.0
	for k := range tintSamples {
		n, ok := p.blueness(probe, e.Offset+tintNear+float64(k))
		f, ok2 := p.blueness(probe, e.Offset+tintFar+float64(k))
		if !ok || !ok2 {
			return 1
		}
		near, far = near+n, far+f
	}
	return near / far
}

const (
	tintNear, tintFar = 1.5, 8.0 // px beyond the edge
	tintSamples       = 3        // 1 px apart
)

// blueness is the ratio of blue to grey along a band parallel to an edge.
func (p *Photo) blueness(probe *Probe, offset float64) (ratio float64, ok bool) {
	if p.Blue == nil {
		return 0, false
	}
	at := calib.Point{X: probe.At.X + offset*probe.NX, Y: probe.At.Y + offset*probe.NY}
	band := probe.band()
	if !p.Gray.holds(at, band[:]) {
		return 0, false
	}
	return p.Blue.linearMean(at, band[:]) / (p.Gray.linearMean(at, band[:]) + 1e-3), true
}
