package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// An autoregressive row of residuals r_i = ρ r_{i−1} + noise has the
// autocorrelation ρ^k, so that the variance of its mean is (1+ρ)/(1−ρ) that of
// independent values (Box, Jenkins, "Time Series Analysis", chapter 3).
func TestCorrelatedSigma(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, rho := range []float64{0, 0.3, 0.6} {
		sum, runs := 0.0, 200
		for range runs {
			residuals := make([]float64, 200)
			last := random.NormFloat64()
			for i := range residuals {
				last = rho*last + math.Sqrt(1-rho*rho)*random.NormFloat64()
				residuals[i] = 0.2 * last
			}
			sigma, ok := correlatedSigma(residuals)
			require.True(t, ok)
			sum += sigma * sigma
		}
		want := 0.2 * math.Sqrt((1+rho)/(1-rho))
		got := math.Sqrt(sum / float64(runs))
		// Cutting at the first lag that is not positive keeps chance correlations, some
		// 10 % to 15 % of σ in 200 points: the estimate must not be lower than the truth.
		require.GreaterOrEqual(t, got, 0.97*want, "ρ = %g", rho)
		require.LessOrEqual(t, got, 1.25*want, "ρ = %g", rho)
	}
}

func TestCorrelatedSigmaNeedsPoints(t *testing.T) {
	_, ok := correlatedSigma(make([]float64, 10))
	require.False(t, ok)
}

// A stretch that lies off together is dropped, single outliers and the rest stay.
func TestDropStrays(t *testing.T) {
	s := exampleScene()
	_, edges := observe(s, func() float64 { return 0 })
	a := adjustment{edges: edges}
	c := newLocus(&s.Wheels[edges[0].side], edges[0].kind, edges[0].face, s.view(edges[0].photo))
	for i := 20; i < 32; i++ {
		ip, ok := c.nearest(a.edges[i].at, a.edges[i].u)
		require.True(t, ok)
		a.edges[i].at.X += 2 * ip.nx
		a.edges[i].at.Y += 2 * ip.ny
	}
	before := len(a.edges)
	a.dropStrays(s, 0.5)
	require.Equal(t, 12, before-len(a.edges))
}

// However little some points of a curve count for, with hardly any residuals the mean of each
// of its stretches is as uncertain as stretches are.
func TestLearnedFloor(t *testing.T) {
	s := exampleScene()
	_, edges := observe(s, func() float64 { return 0 })
	for i := range edges {
		edges[i].edge.Width = 1.2
		edges[i].factor = []float64{1, 1, 4}[i%3]
	}
	a := adjustment{edges: edges, covered: [2]bool{Right: true}}
	residuals := make([]float64, len(edges))
	for i := range residuals {
		residuals[i] = 0.001 * float64(1-2*(i%2))
	}
	learned := a.learn(residuals, 2)
	var weights [2]float64 // of the outlines in the first photo
	for i := range edges {
		if o := &edges[i]; o.photo == 0 && o.kind == TyreOuter {
			weights[o.side] += 1 / math.Pow(learned[o.scatterKey()]*o.factor, 2)
		}
	}
	require.InEpsilon(t, 0.08, math.Sqrt(arcs/weights[Left]), 1e-9)
	require.InEpsilon(t, 0.15, math.Sqrt(arcs/weights[Right]), 1e-9)
}

// A rim whose edge is as sharp as its photo's tyres has no softness; what more it is
// blurred by adds up in squares, and it then counts for less than the sharp one.
func TestSoftness(t *testing.T) {
	s := exampleScene()
	_, edges := observe(s, func() float64 { return 0 })
	for i := range edges {
		edges[i].edge.Width = 1.2
		if edges[i].kind == RimCircle && edges[i].side == Right {
			edges[i].edge.Width = 2
		}
	}
	a := adjustment{edges: edges}
	sharp, soft := scatterKey{0, Left, RimCircle}, scatterKey{0, Right, RimCircle}
	got := a.softness()
	require.Zero(t, got[sharp])
	require.InDelta(t, 1.6, got[soft], 1e-9) // 1.2² + 1.6² = 2²
	learned := a.learn(make([]float64, len(edges)), 3)
	require.Greater(t, learned[soft], 3*learned[sharp])
	require.Equal(t, learned[scatterKey{0, Left, TyreOuter}], learned[scatterKey{0, Right, TyreOuter}])
}
