package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// standing is a set whose rims were seen on the inboard faces.
func standing() *set {
	m := &set{knowledge: exampleKnowledge(), scene: exampleScene()}
	m.rims[Left][Left.inboard()] = rimEdge{found: true}
	m.rims[Right][Right.inboard()] = rimEdge{found: true}
	return m
}

// posed sets the rims' headings and tilts in degrees, positive as ISO 8855 (from memory)
// turns: heading to the left seen from above, tilt of the axle's right end upward.
func posed(s *Scene, headingDeg, tiltDeg [2]float64) *Scene {
	s = s.clone()
	for side := range s.Wheels {
		w := &s.Wheels[side]
		w.HeadingRad, w.TiltRad = headingDeg[side]/degPerRad, tiltDeg[side]/degPerRad
		w.RimHeadingRad, w.RimTiltRad, w.RimForward, w.RimUp = 0, 0, 0, 0
		w.Centre.Y, w.Centre.Z = -400, 248
	}
	return s
}

func TestSignsOfToeAndCamber(t *testing.T) {
	m := standing()
	d := 2 * m.rimRadius(m.scene, Left)
	for _, c := range []struct {
		name          string
		heading, tilt [2]float64
		toeMm         float64
		camberDeg     [2]float64
	}{
		{"straight", [2]float64{}, [2]float64{}, 0, [2]float64{}},
		{"toe-in: the left wheel turned right, the right one left", [2]float64{-0.5, 0.5}, [2]float64{}, 2 * d * math.Sin(0.5/degPerRad), [2]float64{}},
		{"toe-out", [2]float64{0.3, -0.3}, [2]float64{}, -2 * d * math.Sin(0.3/degPerRad), [2]float64{}},
		{"steered, still parallel", [2]float64{2, 2}, [2]float64{}, 0, [2]float64{}},
		{"tops outward", [2]float64{}, [2]float64{3, -3}, 0, [2]float64{3, 3}},
		{"tops inward", [2]float64{}, [2]float64{-2, 2}, 0, [2]float64{-2, -2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := posed(m.scene, c.heading, c.tilt)
			require.InDelta(t, c.toeMm, m.totalToeMm(s), 1e-9)
			require.InDelta(t, c.camberDeg[Left], m.camberRad(s, Left)*degPerRad, 1e-9)
			require.InDelta(t, c.camberDeg[Right], m.camberRad(s, Right)*degPerRad, 1e-9)
		})
	}
}

// Total toe is what a tape at hub height would read at the rear less what it reads
// in front: the definition it is meant to meet.
func TestTotalToeIsTheDifferenceOfTheGaps(t *testing.T) {
	m := standing()
	s := posed(m.scene, [2]float64{-0.8, 0.4}, [2]float64{2, -2.5})
	// A tape lies straight between the rims; the wheels' bisector is 0.2° off that
	// line, which takes 1e-5 of the toe.
	require.InDelta(t, m.totalToeMm(s), m.gapMm(s, false)-m.gapMm(s, true), 2e-3)
	require.InDelta(t, 810, m.trackMm(s), 1e-9)
}

// The run-out's standard uncertainty against draws of its direction.
func TestRunoutSigma(t *testing.T) {
	const peakToPeak, draws = 0.8, 2000
	d := 2 * 209.0
	var r rms
	for i := range draws {
		left := 2 * math.Pi * math.Mod(float64(i)*0.6180339887, 1)
		right := 2 * math.Pi * math.Mod(float64(i)*0.7548776662, 1)
		tilt := peakToPeak / d
		r.add(d * (math.Sin(tilt*math.Cos(left)) + math.Sin(tilt*math.Cos(right))))
	}
	require.InEpsilon(t, runoutSigmaMm(peakToPeak), r.value(), 0.02)
}

// A rim that is not seen costs what a tyre may wobble on it: two wheels, each of
// wobbleSigmaRad without its reserve at the rim's diameter, beside what the outlines leave.
func TestUnseenRimIsCharged(t *testing.T) {
	u := func(rims bool) float64 {
		m := standing()
		m.rims = [2][2]rimEdge{}
		_, edges := observe(m.scene, func() float64 { return 0 })
		a := adjustment{layout: newLayout(m.scene, free{cameras: true, poses: true, tyres: [2]bool{true, true}, rims: [2]bool{rims, rims}})}
		a.corners, _ = observe(m.scene, func() float64 { return 0 })
		for _, e := range edges {
			if e.kind == TyreOuter {
				a.edges = append(a.edges, e)
			}
		}
		a.priors = m.knowledge.priors(m.scene, &a.layout)
		covariance, err := Covariance(a.problem(), m.scene)
		require.NoError(t, err)
		f := &fitted{scene: m.scene, adjustment: a, solution: Solution[*Scene]{Covariance: covariance}}
		return math.Sqrt(variance(f.covariance(), f.gradient(m.totalToeMm)))
	}
	wobble := 2 * (203 + flangeHeightMm) * wobbleSigmaRad / wobbleReserve * math.Sqrt2
	require.InEpsilon(t, math.Hypot(u(false), wobble), u(true), 1e-3)
}

// Where a tape is held follows from the edges seen and from where lips usually are, by
// their variances (JCGM 100, 5.1.2): each edge that was seen narrows it, and none is
// believed to the tenth of a millimetre that its points would give.
func TestCrestOfTheLips(t *testing.T) {
	usual := rimOffsetMm - lipMm
	seenAt := func(left, right float64) *Scene {
		s := exampleScene().clone()
		s.Wheels[Left].Rim[Left.inboard()].Offset = left
		s.Wheels[Right].Rim[Right.inboard()].Offset = -right
		return s
	}
	for _, c := range []struct {
		name           string
		seen           [2]bool
		s              *Scene
		crestMm, sigma float64 // by hand: 3 mm beforehand, 1.5 mm for each edge
	}{
		{"no rim seen", [2]bool{}, seenAt(5, 25), usual, 3},
		{"one seen where it is expected", [2]bool{true, false}, seenAt(usual, 25), usual, 3 / math.Sqrt(5)},
		{"one seen 5 mm off", [2]bool{false, true}, seenAt(25, usual+5), usual + 4, 3 / math.Sqrt(5)},
		{"both seen", [2]bool{true, true}, seenAt(usual+9, usual-18), usual - 4, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := &set{knowledge: exampleKnowledge(), scene: c.s}
			for side, seen := range c.seen {
				m.rims[side][Side(side).inboard()] = rimEdge{found: seen}
			}
			mm, variance := m.crest(c.s)
			require.InDelta(t, c.crestMm, mm, 1e-9)
			require.InDelta(t, c.sigma, math.Sqrt(variance), 1e-9)
			_, rear := m.tapePoints(posed(c.s, [2]float64{}, [2]float64{}), Left)
			require.InDelta(t, c.s.Wheels[Left].Centre.X+c.crestMm, rear.X, 1e-9)
		})
	}
}
