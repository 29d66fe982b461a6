package measure

import "math"

// This file refines the guess of both front wheels together. A vehicle is built
// alike on both sides; described by what the sides share and in what they differ,
// few numbers are large, and a mudguard or a shadow that pulls at one wheel is
// held by the other.

// pairGuess is both wheels: p holds pairShape's numbers.
type pairGuess struct {
	p     [numPair]float64
	bead  float64 // bead seat radius that it was found with, mm
	score float64
}

// Numbers of a pair, mm and radians: the middle between the wheels, half their
// distance, the direction across, what both wheels' heading has beyond that
// direction (steering), half the difference of headings (toe), outer radius, half
// the sum of tilts outward (camber), half its difference, half the distance of the
// left wheel behind the right.
const (
	pairX = iota
	pairY
	pairHalfTrack
	pairSteerRad
	pairToeRad
	pairOuter
	pairCamberRad
	pairCamberDiffRad
	pairStagger
	numPair
)

// What front wheels are like, as standard uncertainties: builders' practice, no
// source. They only guide the search; the adjustment does not use them.
var pairSpread = [numPair]float64{
	pairSteerRad: 0.06, pairToeRad: 0.035, pairCamberRad: 0.05, pairCamberDiffRad: 0.01, pairStagger: 5,
}

// pairSteps are the first steps of the search along each number.
var pairSteps = [numPair]float64{
	pairX: 6, pairY: 6, pairHalfTrack: 6, pairSteerRad: 0.03, pairToeRad: 0.02, pairOuter: 4,
	pairCamberRad: 0.02, pairCamberDiffRad: 0.01, pairStagger: 6,
}

func newPairGuess(g [2]guess) pairGuess {
	l, r := g[Left], g[Right]
	p := pairGuess{bead: l.bead}
	p.p = [numPair]float64{
		pairX: (l.x + r.x) / 2, pairY: (l.y + r.y) / 2,
		pairHalfTrack: (r.x - l.x) / 2, pairStagger: (r.y - l.y) / 2,
		pairSteerRad: (l.headingRad + r.headingRad) / 2, pairToeRad: (r.headingRad - l.headingRad) / 2,
		pairOuter:     (l.outer + r.outer) / 2,
		pairCamberRad: (l.tiltRad - r.tiltRad) / 2, pairCamberDiffRad: (l.tiltRad + r.tiltRad) / 2,
	}
	return p
}

// wheels are the two guesses that the numbers mean.
func (g *pairGuess) wheels() [2]guess {
	p := &g.p
	var w [2]guess
	for side := range w {
		sign := Side(side).sign()
		w[side] = guess{
			x: p[pairX] + sign*p[pairHalfTrack], y: p[pairY] + sign*p[pairStagger],
			headingRad: p[pairSteerRad] + sign*p[pairToeRad],
			tiltRad:    p[pairCamberDiffRad] - sign*p[pairCamberRad],
			outer:      p[pairOuter], bead: g.bead,
		}
	}
	return w
}

// penaltyWeight makes a number that is off by twice its spread cost as much as a
// tenth of a good outline's score.
const penaltyWeight = 0.0125

func (k *seeker) ratePair(g pairGuess, reach float64) float64 {
	// Wheels that no photo shows cost little, and the less the farther they are apart.
	if track := 2 * g.p[pairHalfTrack]; track < minTrackMm || track > maxTrackMm {
		return math.Inf(-1)
	}
	score := 0.0
	for _, w := range g.wheels() {
		if !w.plausible() {
			return math.Inf(-1)
		}
		score += k.rate(w, reach) / 2
	}
	for i, spread := range pairSpread {
		if spread > 0 {
			z := g.p[i] / spread
			if i == pairStagger {
				// The sheets' arrows say where forward is only to a few degrees.
				z = (g.p[i] - g.p[pairHalfTrack]*math.Tan(g.p[pairSteerRad])) / math.Hypot(spread, g.p[pairHalfTrack]*0.05)
			}
			score -= penaltyWeight * z * z
		}
	}
	return score
}

// climbPair improves both wheels along the numbers of a pair.
func (k *seeker) climbPair(g pairGuess, reach float64, halvings int) pairGuess {
	steps := pairSteps
	for i := range steps {
		steps[i] *= reach / fineReachPx
	}
	g.score = k.ratePair(g, reach)
	return climb(g, steps[:], halvings, func(from pairGuess, number int, by float64) (pairGuess, float64, float64) {
		to := from
		to.p[number] += by
		to.score = k.ratePair(to, reach)
		return to, to.score, from.score
	})
}
