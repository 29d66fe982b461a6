package measure

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// This file leads the adjustment from a pair of guessed wheels to the joint
// solution of everything.

// strayLimits are, round by round, how far the edges along some 80 px of a curve
// may lie off together, px. In each round edges are looked for anew around the
// joint solution of the last.
var strayLimits = []float64{1.5, 0.7, 0.4, 0.3, 0.3}

// jointWindowPx is the half width of that search.
const jointWindowPx = 4.0

// fitted is the joint solution and what it was made of.
type fitted struct {
	scene      *Scene
	freed      free
	adjustment adjustment
	solution   Solution[*Scene]
	residuals  []float64       // of the adjustment's edges, px
	scatters   map[int]Scatter // of the sources; nil until asked for
	stated     *mat.SymDense   // covariance of the unknowns; likewise
	doubt      float64         // by which intervals grow; see doubt.go
	changes    []change        // of each photo against the others, where more than one shows the wheels
}

// covariance is that of the unknowns, but for inflation.
func (f *fitted) covariance() *mat.SymDense {
	if f.stated == nil {
		f.stated = Propagated(f.adjustment.problem(), f.scene, f.solution.Covariance)
	}
	return f.stated
}

// fitPair finds both tyres' outlines, the cameras held, from the best of the guesses. Where the
// rims' edges were heard first, the wheels stay where these put them.
func (m *set) fitPair(pairs []pairGuess) (*Scene, error) {
	var best *Scene
	bestSupport := 0.0
	var bestRims [2]float64
	for _, pair := range pairs[:min(len(pairs), max(pairsHeard, photosHeard/len(m.inputs)))] {
		scene, h := m.hear(pair)
		both := h.support[Left] + h.support[Right] - m.unlikely(&scene.Wheels[Left], &scene.Wheels[Right])
		if h.oneSided() {
			both-- // last of all
		}
		if best == nil || both > bestSupport {
			best, bestSupport, m.hearing, bestRims = scene, both, h, m.knowledge.rims
		}
		if !h.oneSided() && min(h.support[Left], h.support[Right]) >= sureSupport {
			break
		}
	}
	m.knowledge.rims = bestRims
	if m.approach.guarded {
		return best, nil
	}
	return m.fitTyres(best)
}

// hear lets the edges around a pair of guesses vote.
func (m *set) hear(pair pairGuess) (*Scene, hearing) {
	scene := m.scene.clone()
	if m.settings.BeadSeatMm == 0 {
		m.knowledge.rimSigma = unknownRimSigmaMm
	}
	for side, g := range pair.wheels() {
		scene.Wheels[side] = g.wheel()
		m.knowledge.rims[side] = pair.bead
	}
	return scene, m.hearBoth(scene)
}

// pairsHeard are the guesses worth a vote; of few photos, which leave more in doubt
// and take less time, photosHeard together.
const (
	pairsHeard  = 3
	photosHeard = 10
)

// sureSupport is the share of agreeing probes from which no other guess is heard.
const sureSupport = 0.75

// fitJointly frees the cameras as well; with rims, the rims' edges join in.
func (m *set) fitJointly(scene *Scene, rims bool) (*fitted, error) {
	var f *fitted
	learned := scatter{}
	for round := range strayLimits {
		var err error
		last := round == len(strayLimits)-1
		if f, err = m.fitRound(scene, rims, round, learned); err != nil && (last || !errors.Is(err, ErrNotConverged)) {
			return nil, err
		}
		scene = f.scene
		if !scene.plausible() {
			return nil, unclear("", "Something else than the tyres was taken for their outlines.")
		}
		learned = f.adjustment.learn(f.residuals, scene.photosPerState())
	}
	return f, nil
}

// plausible says whether the wheels can be wheels at all.
func (s *Scene) plausible() bool {
	for side := range s.Wheels {
		if w := &s.Wheels[side]; w.Tube < leastTubeMm || w.Ring < 2*w.Tube {
			return false
		}
	}
	return true
}

// leastTubeMm is thinner than any tyre's half width.
const leastTubeMm = 5.0

// fitRound looks for edges around the scene and adjusts everything.
func (m *set) fitRound(scene *Scene, rims bool, round int, learned scatter) (*fitted, error) {
	// A rim whose edge is not seen is free as well: how the tyre sits on it is then
	// known by the prior alone, and has to show in the uncertainty.
	freed := free{cameras: true, poses: true, tyres: [2]bool{true, true}, rims: [2]bool{rims, rims}, changes: len(scene.Changes) > 1}
	a := adjustment{corners: m.corners, cornerLoss: Tukey(5), edgeLoss: Tukey(tukeyCut), covered: m.hearing.lower, grainy: m.approach.grainy}
	for side := range m.rims {
		for face, edge := range m.rims[side] {
			freed.faces[side][face] = rims && edge.found
		}
	}
	edges := make([][]edgeObservation, 2*len(scene.Photos))
	each(len(edges), func(i int) {
		photo, side := i/2, Side(i%2)
		edges[i] = m.outlinePoints(scene, photo, side, jointWindowPx, outlineSigmaPx)
		for face, edge := range m.rims[side] {
			if freed.faces[side][face] {
				edges[i] = append(edges[i], m.rimPoints(scene, photo, side, Face(face), edge)...)
			}
		}
	})
	a.edges = slices.Concat(edges...)
	a.dropStrays(scene, strayLimits[round])
	a.trust(learned)
	a.layout = newLayout(scene, freed)
	a.priors = m.knowledge.priors(scene, &a.layout)
	options := solverOptions
	if round > 0 {
		options = nearOptions
	}
	solution, err := Solve(a.problem(), scene, options)
	f := &fitted{scene: solution.State, freed: freed, adjustment: a, solution: solution}
	f.residuals = a.edgeResiduals(f.scene)
	return f, err
}

// unknownRimSigmaMm is how far off a rim's radius guessed from the tyre may be.
const unknownRimSigmaMm = 6.0

// beadSeats are bead seat diameters of wheels that such vehicles have in front, mm
// (ISO 5775-2, from memory).
var beadSeats = []float64{305, 349, 355, 406, 451, 507}

// guessRims takes for the unknown rim size the standard one near the tyre's inner
// edge whose rim is seen best.
func (m *set) guessRims(scene *Scene) {
	inner := 0.0
	for side := range scene.Wheels {
		inner += (scene.Wheels[side].Ring - scene.Wheels[side].Tube) / 2
	}
	m.knowledge.rims = [2]float64{inner, inner}
	best := math.Inf(-1)
	for _, diameter := range beadSeats {
		off := (diameter/2 - inner) / tubeSigmaMm
		if math.Abs(off) > 3 {
			continue
		}
		trial := *m
		trial.knowledge.rims = [2]float64{diameter / 2, diameter / 2}
		trial.findRims(scene)
		score := -off * off / 10
		for side := range trial.rims {
			for _, edge := range trial.rims[side] {
				score += edge.share
			}
		}
		if score > best {
			best, m.knowledge.rims = score, trial.knowledge.rims
		}
	}
	m.knowledge.rimSigma = 0
}

// findRims looks for the rims' edges around the fitted tyres. Whether they turn
// darker or brighter outward is the same for both, as for any pair of wheels.
func (m *set) findRims(scene *Scene) *Scene {
	var trials [2]*Scene
	var rims [2][2][2]rimEdge
	var share [2]float64
	each(len(trials), func(i int) {
		trials[i] = scene.clone()
		for side := range rims[i] {
			for face := range rims[i][side] {
				w, edge := m.findRim(trials[i], Side(side), Face(face), [2]float64{-1, 1}[i])
				rims[i][side][face] = edge
				if edge.found {
					trials[i].Wheels[side] = w
					share[i] += edge.share
				}
			}
		}
	})
	best := 0
	if share[1] > share[0] {
		best = 1
	}
	m.rims = rims[best]
	return trials[best]
}
