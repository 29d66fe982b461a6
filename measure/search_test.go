package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"rimpair/calib"
)

// A wheel whose ball misses the picture has no point of its outline in it.
func TestFrameMissesWhatIsOutside(t *testing.T) {
	s := exampleScene()
	size := [2]float64{4032, 3024}
	missed, whole := 0, 0
	// Most numbers drawn from a range are small, wheels near the sheets: far ones must be among them.
	anywhere := rapid.OneOf(rapid.Float64Range(-2000, 2000), rapid.SampledFrom([]float64{-2000, -1000, 1000, 2000}))
	rapid.Check(t, func(t *rapid.T) {
		v := s.view(rapid.IntRange(0, len(s.Photos)-1).Draw(t, "photo"))
		f := newFrame(v.camera, size)
		w := guess{
			x: anywhere.Draw(t, "x"), y: anywhere.Draw(t, "y"),
			headingRad: rapid.Float64Range(-maxHeadingRad, maxHeadingRad).Draw(t, "heading"), outer: 250, bead: 203,
		}.wheel()
		c := newLocus(&w, TyreOuter, 0, v)
		inside := 0
		for _, a := range anglesAround(searchAngles) {
			p, ok := c.pointAt(a.sin, a.cos)
			if !ok {
				continue
			}
			in := v.pose.Apply(p.at)
			px, ok := v.camera.Project(in)
			// Far outside, this lens bends lines of sight back into the picture.
			if ok && math.Hypot(in.X, in.Y) < in.Z && px.X > 0 && px.Y > 0 && px.X < size[0]-1 && px.Y < size[1]-1 {
				inside++
			}
		}
		if f.misses(v.pose.Apply(w.Centre), w.Ring+w.Tube) {
			missed++
			require.Zero(t, inside)
		}
		if inside == searchAngles {
			whole++
		}
	})
	require.Positive(t, missed)
	require.Positive(t, whole)
}

// A frame of which nothing is known misses nothing.
func TestUnknownFrame(t *testing.T) {
	f := frame{math.Inf(-1), math.Inf(1), math.Inf(-1), math.Inf(1)}
	for _, at := range []r3.Vec{{X: 1e4, Z: 1}, {X: -1e4, Y: 1e4, Z: -5}, {}} {
		require.False(t, f.misses(at, 1))
	}
}

// turnedBy is a scene whose sheets' arrows point so far to the right of where they did.
func turnedBy(s *Scene, rad float64) *Scene {
	turn := calib.Pose{R: calib.RotFromVector(r3.Vec{Z: rad})}
	turned := s.clone()
	for i := range turned.Photos {
		turned.Photos[i].Pose = s.Photos[i].Pose.Mul(turn.Inverse())
	}
	for i := range turned.Sheets {
		turned.Sheets[i].Pose = turn.Mul(s.Sheets[i].Pose)
	}
	return turned
}

// The wheels are found in the same places, however the arrows point within what is
// allowed for. 25 mm is the grid's step.
func TestWheelsAreFoundBesideTheArrows(t *testing.T) {
	m, err := prepare(sampleInputs(t, "front.jpg", "rear.jpg"), Settings{BeadSeatMm: 305})
	require.NoError(t, err)
	scene := m.scene
	straight := m.findPairs()
	require.NotEmpty(t, straight)
	require.GreaterOrEqual(t, straight[0].score, sureScore)
	left, right, _ := sampleTruth(t)
	wheels := straight[0].wheels()
	track := math.Hypot(left.HubMm[0]-right.HubMm[0], left.HubMm[1]-right.HubMm[1])
	require.InDelta(t, track, math.Hypot(wheels[Left].x-wheels[Right].x, wheels[Left].y-wheels[Right].y), gridStepMm)
	for _, rad := range []float64{-askewRad, -0.1, 0.1, askewRad} {
		m.scene = turnedBy(scene, rad)
		pairs := m.findPairs()
		require.NotEmpty(t, pairs)
		back := calib.RotFromVector(r3.Vec{Z: -rad})
		for side, w := range pairs[0].wheels() {
			at, want := back.Apply(r3.Vec{X: w.x, Y: w.y}), wheels[side]
			require.InDelta(t, 0, math.Hypot(at.X-want.x, at.Y-want.y), gridStepMm, "%s wheel, arrows turned by %g", Side(side), rad)
		}
	}
}

// Pairs that were found with a wrong size are the wheels' places: with the right one they
// are sure, and nothing is searched anew.
func TestPairsOfAnotherSizeAreResized(t *testing.T) {
	m, err := prepare(sampleInputs(t, "front.jpg", "rear.jpg"), Settings{BeadSeatMm: 349})
	require.NoError(t, err)
	m.pairs = m.findPairs()
	f := m.newFinder(m.scene)
	sized := f.resized(m.pairs)
	require.NotEmpty(t, sized)
	require.GreaterOrEqual(t, sized[0].score, sureScore)
	require.Equal(t, sized, m.unsized().findPairs())
	for i := range sized[1:] {
		require.GreaterOrEqual(t, sized[i].score, sized[i+1].score)
	}
}

// The size so far is the one that was given, or else guessed from the rims.
func TestSizeSoFar(t *testing.T) {
	guessed := knowledge{rims: [2]float64{225.5, 225.5}}
	notYet := guessed
	notYet.rimSigma = unknownRimSigmaMm
	pairs := []pairGuess{{bead: 225.5}, {bead: 203}, {bead: 225.5}}
	for _, c := range []struct {
		name    string
		givenMm float64
		known   knowledge
		sizeMm  float64
		pairs   int
	}{
		{"given", 406, guessed, 406, 1},
		{"guessed", 0, guessed, 451, 2},
		{"not even guessed", 0, notYet, 0, 3},
	} {
		m := &set{settings: Settings{BeadSeatMm: c.givenMm}, knowledge: c.known}
		size := m.sizeSoFarMm()
		require.Equal(t, c.sizeMm, size, c.name)
		require.Len(t, ofSize(pairs, size), c.pairs, c.name)
	}
}
