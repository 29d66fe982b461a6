package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rimpair/vision"
)

// A plain edge counts fully; what is wider, narrower, weaker or beside another one counts
// for less, and for less still where two of that come together.
func TestOutlineFactor(t *testing.T) {
	const usual = 1.2
	plain := vision.Edge{Step: 0.8, Clear: 9, Width: usual}
	changed := func(change func(*vision.Edge)) vision.Edge { e := plain; change(&e); return e }
	for name, c := range map[string]struct {
		edge        vision.Edge
		least, most float64
	}{
		"plain":          {plain, 1, 1.2},
		"a tenth wider":  {changed(func(e *vision.Edge) { e.Width *= 1.1 }), 2, 2.5},
		"narrower":       {changed(func(e *vision.Edge) { e.Width /= 1.1 }), 2, 2.5},
		"weak":           {changed(func(e *vision.Edge) { e.Step = 0.1 }), 4, 4.2},
		"beside another": {changed(func(e *vision.Edge) { e.Clear = 4 }), 3, 3.3},
		"both":           {changed(func(e *vision.Edge) { e.Clear, e.Step = 4, 0.1 }), 5, 5.2},
	} {
		t.Run(name, func(t *testing.T) {
			got := outlineFactor(c.edge, usual)
			require.GreaterOrEqual(t, got, c.least)
			require.LessOrEqual(t, got, c.most)
		})
	}
}

// Each point's uncertainty is its curve's times its own factor, and what is learned of a
// curve is of its plain points.
func TestTrust(t *testing.T) {
	s := exampleScene()
	_, edges := observe(s, func() float64 { return 0 })
	for i := range edges {
		edges[i].edge = vision.Edge{Step: 0.8, Clear: 9, Width: 1.2}
	}
	soft := &edges[0]
	require.Equal(t, TyreOuter, soft.kind)
	soft.edge.Width *= 1.2
	shaded := &edges[len(edges)-1]
	require.Equal(t, RimCircle, shaded.kind)
	shaded.edge.Width *= 1.5
	a := adjustment{edges: edges}
	key := soft.scatterKey()
	a.trust(scatter{key: 0.5})
	for i := range a.edges {
		if o := &a.edges[i]; o.scatterKey() == key {
			require.InDelta(t, 0.5*o.factor, o.sigma, 1e-12)
		} else if o.kind == RimCircle && o != shaded {
			require.Equal(t, 1.0, o.factor)
		}
	}
	require.InDelta(t, math.Hypot(1, (1.5-rimWidthSpread)/rimWidthOff), shaded.factor, 1e-9)
	require.InDelta(t, 1.2*0.5*shadingShift, shaded.seeming, 1e-9)
	require.Zero(t, soft.seeming)
	require.Greater(t, soft.factor, 4.0)
	require.Less(t, a.edges[1].factor, 1.2)

	residuals := make([]float64, len(edges))
	for i := range residuals {
		residuals[i] = 0.3 * a.edges[i].factor * float64(1-2*(i%2))
	}
	require.InDelta(t, 0.3, a.learn(residuals, 3)[key], 1e-9)
}

// An edge of a thin line seems to lie aside, and the farther the less it is known; one too near
// another to say where it is keeps its place and counts for less.
func TestDrawnAside(t *testing.T) {
	const blur = 1.3
	e := vision.Edge{Offset: 2}
	shift, doubt := drawnAside(&e, blur)
	require.Zero(t, shift)
	require.Zero(t, doubt)
	e.Beside[1] = vision.Neighbour{Offset: 3, Slope: -1} // a bright line's inner edge is met inward
	shift, doubt = drawnAside(&e, blur)
	require.Less(t, shift, -0.2)
	alone, ok := e.Alone(blur)
	require.True(t, ok)
	require.InDelta(t, max(-mostDrawnPx, e.Offset-alone), shift, 1e-12)
	require.InDelta(t, (e.Offset-alone)/drawnOffPx, doubt, 1e-12)
	e.Beside[1].Offset = 2
	shift, doubt = drawnAside(&e, blur)
	require.Zero(t, shift)
	require.Equal(t, besideFactor, doubt)
}
