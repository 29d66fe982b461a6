package vision

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// step is a sharp edge at a place across a line.
type step struct{ at, height float64 }

// Sharp edges near each other are met elsewhere than they are, by up to half a pixel (Steger,
// "An unbiased detector of curvilinear structures", IEEE TPAMI 20, 1998, from memory; Edges of a
// narrow line are tested after his equation above). Alone puts them back.
func TestAlonePutsEdgesBack(t *testing.T) {
	const blur = 0.9
	// Bilinear interpolation adds f(1 − f) to the variance, f being even: 1/6.
	width := math.Sqrt(blur*blur + gradientSigma*gradientSigma + 1.0/6)
	for _, c := range []struct {
		name  string
		steps []step
		main  int     // the one asked about: those beside it have further ones beside them
		aside float64 // at least, by which it is met elsewhere
	}{
		{"by itself", []step{{0, 0.4}}, 0, 0},
		{"a bright line", []step{{0, 0.4}, {2.2, -0.4}}, 0, 0.25},
		{"a broader one", []step{{0, 0.4}, {3.5, -0.4}}, 0, 0.03},
		{"a dark gap that ends in something less bright", []step{{0, -0.5}, {2.4, 0.3}}, 0, 0.1},
		{"two steps the same way", []step{{0, -0.3}, {4, -0.2}}, 0, 0.05},
		{"a lip between shade and gap", []step{{-2.5, 0.2}, {0, -0.4}, {3, 0.2}}, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, angle := range []float64{0.1, 0.4, 2.5} {
				g, p := stripes(angle, func(across float64) float64 {
					light := 0.55
					for _, s := range c.steps {
						light += s.height * (gaussian((across-s.at)/blur) - 0.5)
					}
					return light
				})
				edges := g.Edges(p)
				require.Len(t, edges, len(c.steps))
				e, place := edges[c.main], c.steps[c.main].at
				alone, ok := e.Alone(width)
				require.True(t, ok)
				// Half a grey level, of some 40 over an edge's 3 px, twice where two edges nearly cancel.
				require.InDelta(t, place, alone, 0.06, "angle %g", angle)
				require.GreaterOrEqual(t, math.Abs(e.Offset-place), c.aside)
			}
		})
	}
}

// Edges of a line are never met nearer than two widths: of some that are, nothing is said.
func TestAloneSaysWhereItCannot(t *testing.T) {
	e := Edge{Offset: 1, Beside: [2]Neighbour{{}, {Offset: 2.4, Slope: -1}}}
	at, ok := e.Alone(1.3)
	require.False(t, ok)
	require.Equal(t, e.Offset, at)
}
