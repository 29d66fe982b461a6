package measure

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A rim that leans forward-in on top leans up-in in front after a quarter turn, and the
// other way after half a turn; a whole turn changes nothing.
func TestRolled(t *testing.T) {
	for _, c := range []struct{ turnDeg, forward, up float64 }{{0, 3, 5}, {90, 5, -3}, {180, -3, -5}, {270, -5, 3}, {360, 3, 5}} {
		forward, up := rolled(3, 5, c.turnDeg/degPerRad)
		assert.InDelta(t, c.forward, forward, 1e-12)
		assert.InDelta(t, c.up, up, 1e-12)
	}
}

// turnedScene is exampleScene in several positions of the wheels, whose rims lean by e
// against axles of their own, as exactly as it can be.
func turnedScene(turnsDeg []float64, axle, e [2][leanNumbers]float64) *Scene {
	s := exampleScene()
	s.Changes = make([][2]Change, len(turnsDeg))
	for state, turn := range turnsDeg {
		for side := range s.Wheels {
			c := &s.Changes[state][side]
			c.TurnRad = turn / degPerRad
			heading, tilt := rolled(e[side][leanHeading], e[side][leanTilt], c.TurnRad)
			w := s.wheelIn(state, Side(side))
			c.HeadingRad = axle[side][leanHeading] + heading - w.rimHeadingRad()
			c.TiltRad = axle[side][leanTilt] + tilt - w.rimTiltRad()
		}
		if state == 0 {
			for side := range s.Wheels {
				s.Wheels[side].HeadingRad += s.Changes[0][side].HeadingRad
				s.Wheels[side].TiltRad += s.Changes[0][side].TiltRad
				s.Changes[0][side] = Change{}
			}
		}
	}
	return s
}

// Without errors of the readings the axles' toe comes out, whatever the run-out: from half
// a turn, whose mean it is, and from three and four positions.
func TestPositionsWithoutErrors(t *testing.T) {
	axle := [2][leanNumbers]float64{{-0.004, 0.03}, {0.006, -0.02}}
	e := [2][leanNumbers]float64{{0.001, -0.0016}, {-0.002, 0.0007}}
	for _, turns := range [][]float64{{0, 180}, {0, 90, 180}, {0, 90, 270}, {0, 90, 180, 270}} {
		s := turnedScene(turns, axle, e)
		m := &set{knowledge: exampleKnowledge(), settings: Settings{RunoutMm: 1}}
		exact := mat.NewSymDense(len(s.readings()), nil)
		for i := range s.readings() {
			exact.SetSym(i, i, 1e-16)
		}
		p, err := m.positionsBy(s, exact)
		require.NoError(t, err)
		// Where toe is no plain mean, what is assumed of run-out weighs in, against
		// settling; that is worth 0.01 mm at the rim.
		tolerance := map[int]float64{2: 1e-9, 3: 2.5e-5, 4: 1e-7}[len(turns)]
		assert.InDelta(t, 0.005, p.toeRad(s), tolerance, turns)
		if len(turns) == 2 {
			assert.InDelta(t, (s.toeIn(0)+s.toeIn(1))/2, p.toeRad(s), 1e-9)
		}
		for _, side := range []Side{Left, Right} {
			assert.InDelta(t, axle[side][leanTilt], p.tiltRad(s, side), tolerance, turns)
		}
		if len(turns) == 4 {
			for _, side := range []Side{Left, Right} {
				assert.InDelta(t, e[side][leanHeading], p.runout(side).value[0], 2e-5, "settling by %.1f mm and the steering leave that", settleSigmaMm)
				assert.InDelta(t, e[side][leanTilt], p.runout(side).value[1], 2e-5)
			}
		}
	}
}

// Photos at 3 and at 9 named the wrong way round: the rims' leans contradict that, and the
// interval grows until it holds the toe. Named right, nothing is widened.
func TestPositionsNamedWrongly(t *testing.T) {
	axle := [2][leanNumbers]float64{{-0.004, 0.03}, {0.006, -0.02}}
	e := [2][leanNumbers]float64{{0.004, -0.002}, {-0.001, 0.005}}
	m := &set{knowledge: exampleKnowledge(), settings: Settings{RunoutMm: 1}}
	for _, turns := range [][]float64{{0, 90, 270}, {0, 90, 180, 270}} {
		s := turnedScene(turns, axle, e)
		adjusted := mat.NewSymDense(len(s.readings()), nil)
		for i := range s.readings() {
			adjusted.SetSym(i, i, 4e-8)
		}
		right, err := m.positionsBy(s, adjusted)
		require.NoError(t, err)
		assert.Equal(t, 1.0, right.doubt)
		for state, turn := range turns {
			for side := range s.Wheels {
				s.Changes[state][side].TurnRad = -turn / degPerRad
			}
		}
		wrong, err := m.positionsBy(s, adjusted)
		require.NoError(t, err)
		assert.Greater(t, wrong.doubt, 2.0)
		assert.InDelta(t, 0.005*m.rimsMm(s), wrong.toeRad(s)*m.rimsMm(s), coverage95*wrong.restMm)
	}
}

// Run-out, settling, steering and turns drawn as they are assumed: toe is within its
// interval as often as stated, and run-out at least as often (its interval reaches to
// zero where it cannot be told from it).
func TestPositionsCoverage(t *testing.T) {
	g := rand.New(rand.NewPCG(21, 1))
	m := &set{knowledge: exampleKnowledge(), settings: Settings{RunoutMm: 1}}
	diameter := m.rimsMm(exampleScene()) / 2
	for _, turns := range [][]float64{{0, 180}, {0, 90}, {0, 90, 180}, {0, 90, 180, 270}} {
		const draws, readingSigma = 2000, 2e-4
		toe, runout := 0, 0
		for range draws {
			var e [2][leanNumbers]float64
			for side := range e {
				for number := range e[side] {
					e[side][number] = g.NormFloat64() / diameter / math.Sqrt2
				}
			}
			s := turnedScene(turns, [2][leanNumbers]float64{{-0.004, 0.03}, {0.006, -0.02}}, e)
			adjusted := mat.NewSymDense(len(s.readings()), nil)
			for i := range s.readings() {
				adjusted.SetSym(i, i, readingSigma*readingSigma)
			}
			for state := range s.Changes {
				steering := heldSteerRad * g.NormFloat64()
				for side := range s.Wheels {
					turn := turns[state] / degPerRad
					h0, t0 := rolled(e[side][leanHeading], e[side][leanTilt], turn)
					h1, t1 := rolled(e[side][leanHeading], e[side][leanTilt], turn+turnSigmaRad*g.NormFloat64())
					noise := math.Hypot(settleSigmaMm/diameter, readingSigma)
					heading, tilt := h1-h0+noise*g.NormFloat64(), t1-t0+noise*g.NormFloat64()
					if state == 0 { // all others stand against the first
						for other := range s.Changes[1:] {
							s.Changes[1+other][side].HeadingRad -= heading
							s.Changes[1+other][side].TiltRad -= tilt
						}
						s.Wheels[side].HeadingRad += heading
						s.Wheels[side].TiltRad += tilt
						continue
					}
					s.Changes[state][side].HeadingRad += heading + steering
					s.Changes[state][side].TiltRad += tilt
				}
			}
			p, err := m.positionsBy(s, adjusted)
			require.NoError(t, err)
			ask := make([]float64, len(p.found))
			ask[axleUnknown(Right, leanHeading)], ask[axleUnknown(Left, leanHeading)] = 0.5, -0.5
			toe += count(math.Abs(p.toeRad(s)-0.005) <= coverage95*math.Sqrt(variance(p.covariance, ask)))
			r := p.runout(Left)
			q, truth := r.size(diameter), diameter*math.Hypot(e[Left][0], e[Left][1])
			runout += count(q.Low95 <= truth && truth <= q.High95)
		}
		t.Logf("positions %v: toe in 95 %%: %.1f %%, run-out: %.1f %%", turns, 100*float64(toe)/draws, 100*float64(runout)/draws)
		assert.InDelta(t, 0.95, float64(toe)/draws, 0.02, turns)
		assert.Greater(t, float64(runout)/draws, 0.93, turns)
	}
}

// Two states from drawn cameras, prints, papers and tyres, by noisy points: changes of
// toe, camber, track and height, the play found, and toe from half a turn, each against
// its interval; and the change is known better than either value.
func TestStatesCoverage(t *testing.T) {
	draws, generator := 250, rand.New(rand.NewPCG(22, 1))
	if os.Getenv("RIMPAIR_DRAWS") != "" {
		seed := uint64(time.Now().UnixNano())
		t.Logf("seed %d", seed)
		draws, generator = 2000, rand.New(rand.NewPCG(seed, 1))
	}
	start := exampleScene()
	start.Changes = make([][2]Change, 2)
	for _, photo := range start.Photos[:2] {
		photo.State = 1
		photo.Pose.T = r3.Add(photo.Pose.T, r3.Vec{X: 60, Y: 40})
		start.Photos = append(start.Photos, photo)
	}
	for side := range start.Wheels {
		start.Changes[1][side].TurnRad = math.Pi
	}
	w := newWorld(t, start, false)
	w.set.knowledge.moved = true
	inside := map[string]int{}
	narrower, refused := 0, 0
	for range draws {
		off := make([]float64, len(w.priors))
		for i := range off {
			off[i] = generator.NormFloat64()
		}
		truth := w.moved(off)
		mc := &monteCarlo{generator: generator}
		e := mc.turnHalf(w.set, truth)
		f, err := w.solveNoisy(generator, truth)
		if err != nil {
			refused++
			continue
		}
		note := func(name string, q Quantity, value float64) {
			inside[name] += count(q.Low95 <= value && value <= q.High95)
		}
		change := func(of func(*Scene) float64) func(*Scene) float64 {
			return func(s *Scene) float64 { return of(s.inState(1)) - of(s) }
		}
		for name, of := range map[string]func(*Scene) float64{
			"change of toe": w.set.totalToeMm, "change of track": w.set.trackMm, "change of hub height": w.set.hubHeightMm,
			"change of camber": func(s *Scene) float64 { return w.set.camberRad(s, Left) },
		} {
			note(name, f.quantity(change(of)), change(of)(truth))
		}
		narrower += count(f.quantity(change(w.set.totalToeMm)).StandardUncertainty < math.Sqrt2*f.quantity(w.set.totalToeMm).StandardUncertainty)
		by := func(s *Scene, number int) float64 {
			return s.Changes[1][Left].turned(number) - s.Changes[1][Right].turned(number)
		}
		turned := f.leanOf(by)
		note("play", turned.size(degPerRad), degPerRad*math.Hypot(by(truth, 0), by(truth, 1)))
		p, err := w.set.solvePositions(f)
		require.NoError(t, err)
		half := *w.set
		half.positions = p
		toe := f.quantity(half.totalToeMm)
		axles := truth.toeIn(0) - (e[Right]-e[Left])/2
		note("toe from half a turn", quantity(toe.Value, math.Hypot(toe.StandardUncertainty, p.restMm)), w.set.rimsMm(truth)*math.Sin(axles))
	}
	n := float64(draws - refused)
	t.Logf("refused: %d of %d; change of toe known better than of independent values: %.0f %%", refused, draws, 100*float64(narrower)/n)
	assert.Less(t, refused, draws/20)
	// The wheels are turned here, so that how the rims sit on the tyres enters twice.
	assert.Greater(t, float64(narrower), 0.95*n)
	chance := 2 * math.Sqrt(0.95*0.05/n) // two standard deviations of the count
	for name, c := range inside {
		t.Logf("%-24s in 95 %%: %.1f %%", name, 100*float64(c)/n)
		if name == "play" { // never less, but more where it is small
			assert.Greater(t, float64(c)/n, 0.93-chance, name)
			continue
		}
		assert.InDelta(t, 0.95, float64(c)/n, 0.02+chance, name)
	}
}

// turnHalf turns the wheels of a scene's second state by half a turn, with run-out,
// settling and steering as they are assumed; it returns the rims' lean by heading.
func (mc *monteCarlo) turnHalf(m *set, s *Scene) (e [2]float64) {
	steering := heldSteerRad * mc.generator.NormFloat64()
	for side := range s.Wheels {
		diameter := 2 * m.rimRadius(s, Side(side))
		settled := func() float64 { return settleSigmaMm / diameter * mc.generator.NormFloat64() }
		lean := func() float64 { return mc.generator.NormFloat64() / diameter / math.Sqrt2 }
		heading, tilt := lean(), lean()
		first := settled()
		e[side] = heading + first
		off := turnSigmaRad * mc.generator.NormFloat64()
		laterHeading, laterTilt := rolled(heading, tilt, math.Pi+off)
		w, c := &s.Wheels[side], &s.Changes[1][side]
		*c = Change{Move: r3.Vec{X: mc.generator.NormFloat64(), Y: mc.generator.NormFloat64(), Z: mc.generator.NormFloat64()}, TurnRad: math.Pi}
		later := s.wheelIn(1, Side(side))
		c.HeadingRad = w.rimHeadingRad() - e[side] + laterHeading + settled() + steering - later.rimHeadingRad()
		c.TiltRad = w.rimTiltRad() - tilt + laterTilt + settled() + settled() - later.rimTiltRad()
	}
	return e
}

// solveNoisy adjusts what a scene shows with noise.
func (w *world) solveNoisy(g *rand.Rand, truth *Scene) (*fitted, error) {
	a := adjustment{layout: w.layout, priors: w.known()}
	a.corners, a.edges = observeEvery(6, truth, func(source) float64 { return g.NormFloat64() / reserve })
	solution, err := Solve(a.problem(), w.start, solverOptions)
	return &fitted{scene: solution.State, adjustment: a, solution: solution}, err
}
