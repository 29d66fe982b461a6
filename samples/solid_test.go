package samples

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func randomVec(g *rand.Rand, scale float64) vec {
	return vec{X: scale * g.NormFloat64(), Y: scale * g.NormFloat64(), Z: scale * g.NormFloat64()}
}

// towards is a ray from afar to a random place near a body.
func towards(g *rand.Rand, centre vec, spread float64) ray {
	o := plus(centre, times(1500, unit(randomVec(g, 1))))
	return ray{o, unit(minus(plus(centre, randomVec(g, spread)), o))}
}

// firstInside walks along a ray in small steps until f turns negative and returns
// the crossing by bisection: slow, and with nothing in common with the solids' code.
func firstInside(r ray, f func(p vec) float64, from, to, step float64) (float64, bool) {
	for t := from; t < to; t += step {
		if f(r.at(t)) >= 0 {
			continue
		}
		lo, hi := t-step, t
		for range 60 {
			mid := (lo + hi) / 2
			if f(r.at(mid)) < 0 {
				hi = mid
			} else {
				lo = mid
			}
		}
		return hi, true
	}
	return 0, false
}

// Each solid meets rays where walking along them meets its implicit function.
func TestSolidsAgainstImplicitFunctions(t *testing.T) {
	g := rand.New(rand.NewPCG(7, 1))
	frame := axesAbout(vec{X: 30, Y: -20, Z: 250}, vec{X: 1, Y: 0.1, Z: -0.05}, vec{Z: 1})
	bar := capsule{vec{X: -40, Y: 10, Z: 200}, vec{X: 70, Y: -60, Z: 300}, 20}
	cone := newLathe(frame, knot{0, -30, 0}, knot{40, -30, 1}, knot{15, 35, 2}, knot{0, 35, 0})
	block := box{frame, vec{X: 50, Y: 20, Z: 35}}
	ring := &torus{axes: frame, R: 220, r: 23, vMax: math.Pi}
	cases := map[string]struct {
		solid
		f      func(p vec) float64 // negative inside
		spread float64
		rays   int
	}{
		"capsule": {bar, func(p vec) float64 {
			ab := minus(bar.b, bar.a)
			s := min(max(dot(minus(p, bar.a), ab)/dot(ab, ab), 0), 1)
			return norm(minus(p, plus(bar.a, times(s, ab)))) - bar.r
		}, 50, 500},
		"lathe": {cone, func(p vec) float64 {
			q := cone.in(p)
			return max(math.Hypot(q.X, q.Y)-(40-25*(q.Z+30)/65), -30-q.Z, q.Z-35)
		}, 40, 500},
		"box": {block, func(p vec) float64 {
			q := block.in(p)
			return max(math.Abs(q.X)-50, math.Abs(q.Y)-20, math.Abs(q.Z)-35)
		}, 40, 500},
		"torus": {ring, func(p vec) float64 {
			q := ring.in(p)
			return math.Hypot(math.Hypot(q.X, q.Y)-220, q.Z) - 23
		}, 150, 3000},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			centre, _ := c.ball()
			const step = 0.25 // chords shorter than this may be missed by the walk
			met := 0
			for range c.rays {
				r := towards(g, centre, c.spread)
				want, inside := firstInside(r, c.f, 1000, 2000, step)
				h := hit{t: math.Inf(1)}
				got := c.meet(r, &h)
				if !inside {
					if got { // a short chord, or a touch within torusEpsMm
						assert.Less(t, c.f(r.at(h.t)), 2*torusEpsMm)
						_, deep := firstInside(r, func(p vec) float64 { return c.f(p) + 0.01 }, h.t-0.5, h.t+0.5, 0.001)
						assert.False(t, deep && c.f(r.at(h.t+step)) < -0.01, "walk stepped over a chord that it should see")
					}
					continue
				}
				require.True(t, got)
				met++
				// Where the ray grazes, the torus's 1e-3 mm stretch along it, at most to
				// half the chord that they cut.
				slack := 1e-6
				if name == "torus" {
					slack = 2 * min(torusEpsMm/-dot(h.normal, r.d), math.Sqrt(2*ring.r*torusEpsMm))
				}
				assert.InDelta(t, want, h.t, slack)
				assert.Negative(t, dot(h.normal, r.d))
				assert.InDelta(t, 1, norm(h.normal), 1e-9)
			}
			assert.Greater(t, met, 100)
		})
	}
}

// A solid that a ray of a cone meets is never culled.
func TestCullingIsConservative(t *testing.T) {
	g := rand.New(rand.NewPCG(7, 2))
	s := NewScene(5, Options{Setting: Garage, Guards: WithGuards})
	parts := s.build(0)
	checked := 0
	for range 400000 {
		p := parts[g.IntN(len(parts))]
		centre, radius := p.ball()
		axis := towards(g, centre, radius*1.5)
		k := cone{axis: axis, base: g.Float64() * 20, slope: g.Float64() * 0.05}
		across := unit(cross(axis.d, randomVec(g, 1)))
		away := unit(cross(axis.d, randomVec(g, 1)))
		r := ray{plus(axis.o, times(k.base*g.Float64(), across)), unit(plus(axis.d, times(k.slope*g.Float64(), away)))}
		h := hit{t: math.Inf(1)}
		if p.meet(r, &h) {
			checked++
			require.True(t, p.touches(k), "%T", p.solid)
		}
	}
	assert.Greater(t, checked, 5000)
}

// The Sobol points of a pixel are stratified: any straight edge along x or y leaves
// its share of them on either side, to one in samplesPerEdge.
func TestSamplesDivideAPixel(t *testing.T) {
	g := rand.New(rand.NewPCG(7, 3))
	for range 200 {
		scramble, at := g.Uint64(), g.Float64()
		var left, above int
		for i := range uint32(samplesPerEdge) {
			u, v := sobol(i, scramble)
			if u < at {
				left++
			}
			if v < at {
				above++
			}
		}
		assert.InDelta(t, at, float64(left)/samplesPerEdge, 1./samplesPerEdge)
		assert.InDelta(t, at, float64(above)/samplesPerEdge, 1./samplesPerEdge)
	}
}
