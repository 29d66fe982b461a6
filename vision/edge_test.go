package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// blurredEdge is a picture of an edge between two brightnesses in linear light, through
// its middle and at this angle, blurred by a Gaussian: an integral of it, so exact.
func blurredEdge(angle, sigma, before, beyond float64) (g *Gray, p Probe) {
	return stripes(angle, func(across float64) float64 { return before + (beyond-before)*gaussian(across/sigma) })
}

// gaussian is the share of a normal distribution below so many of its widths.
func gaussian(z float64) float64 { return (1 + math.Erf(z/math.Sqrt2)) / 2 }

// stripes is a picture whose light depends on the distance from a line through its middle.
func stripes(angle float64, light func(across float64) float64) (g *Gray, p Probe) {
	const size = 80
	g = &Gray{Width: size, Height: size, Pix: make([]uint8, size*size)}
	ny, nx := math.Sincos(angle)
	middle := calib.Point{X: size/2 + 0.3, Y: size/2 - 0.2}
	for y := range size {
		for x := range size {
			across := (float64(x)-middle.X)*nx + (float64(y)-middle.Y)*ny
			g.Pix[y*size+x] = uint8(math.Round(255 * sRGB(light(across))))
		}
	}
	return g, Probe{At: middle, NX: nx, NY: ny, HalfWidth: 6}
}

// sRGB is the curve of IEC 61966-2-1.
func sRGB(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// Place, step and width of edges that are known exactly. Bilinear interpolation adds some
// to the width, and what reaches beyond 3 px of a wide one takes some off.
func TestEdgesOfABlurredEdge(t *testing.T) {
	// Not along the pixels: whole grey levels are alike all along such an edge then, where a
	// camera's noise would blur them.
	for _, angle := range []float64{0.1, 0.4, 1.1, 1.7, 2.5, -2} {
		for _, sigma := range []float64{0.6, 1, 1.6} {
			// The last rises by 24 grey levels over some 1.5 px or more: half a level is 0.03 px.
			for _, light := range [][3]float64{{0.05, 0.5, 0.02}, {0.5, 0.05, 0.02}, {0.2, 0.3, 0.04}} {
				g, p := blurredEdge(angle, sigma, light[0], light[1])
				for _, shift := range []float64{0, 1.7} {
					q := p
					q.At.X -= shift * p.NX
					q.At.Y -= shift * p.NY
					edges := g.Edges(q)
					require.Len(t, edges, 1)
					require.InDelta(t, shift, edges[0].Offset, light[2], "angle %g, blur %g, %v", angle, sigma, light)
					require.InDelta(t, (light[1]-light[0])/(light[0]+light[1]), edges[0].Step, 0.08)
					require.InEpsilon(t, math.Hypot(sigma, gradientSigma), edges[0].Width, 0.08, "angle %g, blur %g, %v", angle, sigma, light)
				}
			}
		}
	}
}

// The edges of a dark line narrower than its blur σ stay apart by the blur: with half its
// width w they lie where the blurred line's second derivative vanishes,
//
//	(x + w) exp(−(x + w)²/2σ²) = (x − w) exp(−(x − w)²/2σ²),
//
// after Steger, "An unbiased detector of curvilinear structures", IEEE TPAMI 20, 1998 (from
// memory). A rim's edge beside a gap that narrows goes that way; measure takes it out.
func TestEdgesOfANarrowLine(t *testing.T) {
	const blur, around, dark = 1.0, 0.6, 0.1
	// Bilinear interpolation adds f(1 − f) to the variance, f being even: 1/6.
	sigma := math.Sqrt(blur*blur + gradientSigma*gradientSigma + 1.0/6)
	for _, w := range []float64{0.4, 0.8, 1.2, 2} {
		low, high := w, w+2*sigma
		for range 60 {
			x := (low + high) / 2
			bend := (x+w)*math.Exp(-(x+w)*(x+w)/(2*sigma*sigma)) - (x-w)*math.Exp(-(x-w)*(x-w)/(2*sigma*sigma))
			if bend > 0 {
				low = x
			} else {
				high = x
			}
		}
		g, p := stripes(0.4, func(across float64) float64 {
			return around - (around-dark)*(gaussian((across+w)/blur)-gaussian((across-w)/blur))
		})
		edges := g.Edges(p)
		require.Len(t, edges, 2)
		// Half a grey level of the line's 100 over its 3 px.
		require.InDelta(t, -low, edges[0].Offset, 0.03, "half width %g", w)
		require.InDelta(t, low, edges[1].Offset, 0.03, "half width %g", w)
	}
}

// A dark body's edge on ground whose grains are as dark as the body and up to five times as
// light: the strongest rise is often that of a grain farther out. A probe that averages more
// grains takes fewer of those; what it finds scatters no less.
func TestLongProbeSeesThroughGrains(t *testing.T) {
	const dark = 0.05
	var off [2][]float64
	var found, rms [2]float64
	for seed := range uint64(200) {
		g, p := grainyGround(rand.New(rand.NewPCG(seed, 1)), dark, dark, 5*dark)
		for i, halfLength := range [2]int{0, 16} {
			p.HalfLength = halfLength
			if rise, ok := strongestRise(g.Edges(p)); ok {
				off[i] = append(off[i], rise.Offset)
			}
		}
	}
	for i, list := range off {
		for _, v := range list {
			rms[i] += v * v / float64(len(list))
			if math.Abs(v) < 2 {
				found[i] += 1 / float64(len(list))
			}
		}
		rms[i] = math.Sqrt(rms[i])
	}
	t.Logf("short and long: within 2 px %.2f, off by %.2f px", found, rms)
	require.Greater(t, found[1], found[0])
	require.Less(t, rms[1], rms[0])
}

func strongestRise(edges []Edge) (best Edge, ok bool) {
	for _, e := range edges {
		if e.Step > best.Step {
			best, ok = e, true
		}
	}
	return best, ok
}

// A smooth body before grains that are as light as it on average: brightness along the edge
// says nothing, its mean and two standard deviations tell the edge, and in the right place.
func TestEdgesOnGrainyGround(t *testing.T) {
	random := rand.New(rand.NewPCG(17, 4))
	for _, grain := range []float64{0, 2} {
		near, mean := 0, 0.0
		const draws = 100
		for range draws {
			g, p := grainyGround(random, 0.12, 0.06, 0.18)
			p.HalfLength = 16
			p.Grain = grain
			if rise, ok := strongestRise(g.Edges(p)); ok && math.Abs(rise.Offset) < 2 {
				near++
				mean += rise.Offset
			}
		}
		mean /= float64(near)
		t.Logf("grain %g: %d of %d within 2 px, %.2f px off on average", grain, near, draws, mean)
		if grain == 0 {
			require.Less(t, near, 67, "told by its mean: the ground is too easy")
			continue
		}
		// 92 are expected, by 1000 draws, give or take 3. They scatter by 0.5 px about
		// 0.07 px: three standard errors of their mean are 0.15 px.
		require.GreaterOrEqual(t, near, 85)
		require.InDelta(t, 0, mean, 0.2)
	}
}

// grainyGround is a picture with a smooth body this light before the probe's middle and, beyond
// an edge blurred by 1 px, grains of 5 px between the darkest and the lightest.
func grainyGround(random *rand.Rand, body, darkest, lightest float64) (g *Gray, p Probe) {
	const size, grain = 140, 5
	var grains [size/grain + 1][size/grain + 1]float64
	for i := range grains {
		for k := range grains[i] {
			grains[i][k] = darkest + (lightest-darkest)*random.Float64()
		}
	}
	g = &Gray{Width: size, Height: size, Pix: make([]uint8, size*size)}
	ny, nx := math.Sincos(0.2)
	p = Probe{At: calib.Point{X: size / 2, Y: size / 2}, NX: nx, NY: ny, HalfWidth: 6}
	for y := range size {
		for x := range size {
			across := (float64(x)-p.At.X)*p.NX + (float64(y)-p.At.Y)*p.NY
			light := body + (grains[y/grain][x/grain]-body)*gaussian(across)
			g.Pix[y*size+x] = uint8(math.Round(255 * sRGB(light)))
		}
	}
	return g, p
}
