package measure

import (
	"errors"

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
	adjustment adjustment
	solution   Solution[*Scene]
}

func (f *fitted) covariance() *mat.SymDense { return f.solution.Covariance }

// fitPair finds both tyres' outlines, the cameras held, from the best of the guesses.
func (m *set) fitPair(pairs []pairGuess) (*Scene, error) {
	var best *Scene
	bestSupport := 0.0
	for _, pair := range pairs[:min(len(pairs), pairsHeard)] {
		scene, support := m.hear(pair)
		if both := support[Left] + support[Right] - unlike(&scene.Wheels[Left], &scene.Wheels[Right]); best == nil || both > bestSupport {
			best, bestSupport, m.support = scene, both, support
		}
	}
	return m.fitTyres(best)
}

// hear lets the edges around a pair of guesses vote.
func (m *set) hear(pair pairGuess) (scene *Scene, support [2]float64) {
	k := seeker{bead: m.settings.BeadSeatMm / 2}
	scene = m.scene.clone()
	m.knowledge.rims = [2]float64{}
	for side, g := range pair.wheels() {
		scene.Wheels[side] = k.wheel(g)
		m.knowledge.rims[side] = scene.Wheels[side].Ring - scene.Wheels[side].Tube
	}
	for range consensusRounds {
		support = m.hearBoth(scene)
	}
	return scene, support
}

// pairsHeard are the guesses worth a vote.
const pairsHeard = 3

// consensusRounds look again around the first consensus, whose outline was only
// linear in its numbers.
const consensusRounds = 2

// fitJointly frees the cameras as well; with rims, the rims' edges join in.
func (m *set) fitJointly(scene *Scene, rims bool) (*fitted, error) {
	var f *fitted
	learned := scatter{}
	for round, limit := range strayLimits {
		freed := free{cameras: true, poses: true, tyres: [2]bool{true, true}}
		a := adjustment{corners: m.corners, cornerLoss: Tukey(5), edgeLoss: Tukey(tukeyCut)}
		for photo := range scene.Photos {
			for side := range scene.Wheels {
				a.edges = append(a.edges, m.outlinePoints(scene, photo, Side(side), jointWindowPx, outlineSigmaPx)...)
				for face, edge := range m.rims[side] {
					if rims && edge.found {
						freed.rims[side], freed.faces[side][face] = true, true
						a.edges = append(a.edges, m.rimPoints(scene, photo, Side(side), Face(face), edge)...)
					}
				}
			}
		}
		a.dropStrays(scene, limit)
		for i := range a.edges {
			if sigma, ok := learned[a.edges[i].scatterKey()]; ok {
				a.edges[i].sigma = sigma
			}
		}
		a.layout = newLayout(scene, freed)
		a.priors = m.knowledge.priors(scene, &a.layout)
		solution, err := Solve(a.problem(), scene, solverOptions)
		last := round == len(strayLimits)-1
		if err != nil && (last || !errors.Is(err, ErrNotConverged)) {
			return nil, err
		}
		scene = solution.State
		f = &fitted{scene: scene, adjustment: a, solution: solution}
		learned = a.learn(scene)
	}
	return f, nil
}

// findRims looks for the rims' edges around the fitted tyres.
func (m *set) findRims(scene *Scene) *Scene {
	scene = scene.clone()
	for side := range scene.Wheels {
		for face := range m.rims[side] {
			w, edge := m.findRim(scene, Side(side), Face(face))
			m.rims[side][face] = edge
			if edge.found {
				scene.Wheels[side] = w
			}
		}
	}
	return scene
}
