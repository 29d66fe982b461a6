package vision

import "rimpair/calib"

// Tint is the share of blue in the light just beyond an edge, against that farther out. A
// strip of tan along a body, as light as the floor behind it, is no edge in grey, but it has
// half the floor's blue. 1 where the photo has no colours or the probe leaves it.
func (p *Photo) Tint(probe *Probe, e *Edge) float64 {
	band := probe.band()
	farthest := probe.Beside(e.Offset + tintFar + tintSamples - 1)
	if p.Blue == nil || !p.Gray.holds(probe.Beside(e.Offset+tintNear), band) || !p.Gray.holds(farthest, band) {
		return 1
	}
	near, far := 0.0, 0.0
	for k := range tintSamples {
		near += p.blueness(probe.Beside(e.Offset+tintNear+float64(k)), band)
		far += p.blueness(probe.Beside(e.Offset+tintFar+float64(k)), band)
	}
	return near / far
}

const (
	tintNear, tintFar = 1.5, 8.0 // px beyond the edge
	tintSamples       = 3        // 1 px apart
)

// blueness is the ratio of blue to grey of places inside the picture, as of linearMean.
func (p *Photo) blueness(at calib.Point, from []calib.Point) float64 {
	return p.Blue.linearMean(at, from) / (p.Gray.linearMean(at, from) + 1e-3)
}
