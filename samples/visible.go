package samples

import "math"

// visibleRims counts how much of each rim's two faces the camera of a shot sees, at
// their outermost circle, where the wall turns into the flange's crest.
func (s Scene) visibleRims(shot Shot) map[string]float64 {
	parts := s.build(shot.TurnDeg)
	seen := map[string]float64{}
	for name, w := range map[string]Wheel{"L": s.Vehicle.Left, "R": s.Vehicle.Right, "C": s.Vehicle.Rear} {
		seen[name+"_inboard"] = shot.visibleEdge(parts, w, w.inboard())
		seen[name+"_outboard"] = shot.visibleEdge(parts, w, -w.inboard())
	}
	return seen
}

func (s Shot) visibleEdge(parts []part, w Wheel, side float64) float64 {
	const points = 120
	const slackMm = 0.5 // a point of the rim does not hide itself
	rim := w.spun(w.RimAxis(s.TurnDeg), s.TurnDeg)
	place, seen := s.Pose.Origin(), 0
	for i := range points {
		p := rim.onCircle(w.RimDiameterMm/2-flangeRoundMm, 2*math.Pi*float64(i)/points, side*w.RimWidthMm/2)
		if !s.shows([]vec{p}) {
			continue
		}
		way := minus(p, place)
		h := hit{t: norm(way) - slackMm}
		r, hidden := ray{place, unit(way)}, false
		for k := range parts {
			if parts[k].meet(r, &h) {
				hidden = true
				break
			}
		}
		if !hidden {
			seen++
		}
	}
	return math.Round(100*float64(seen)/points) / 100
}
