package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

func drawnBallots(t *rapid.T) []ballot {
	ballots := make([]ballot, rapid.IntRange(5, 60).Draw(t, "ballots"))
	for i := range ballots {
		for k := range ballots[i].slope {
			ballots[i].slope[k] = rapid.Float64Range(-2, 2).Draw(t, "slope")
		}
		for range rapid.IntRange(1, 4).Draw(t, "offers") {
			ballots[i].offers = append(ballots[i].offers, offer{
				rapid.Float64Range(-10, 10).Draw(t, "offset"), rapid.Float64Range(0.1, 1).Draw(t, "weight"),
			})
		}
	}
	return ballots
}

func drawnPrior() *guessPrior {
	var p guessPrior
	for i := range tyreNumbers {
		p.know(i, 0, 3)
	}
	return &p
}

// The normal equations are solved as gonum solves them; the prior keeps their condition
// below 1e5, so that 1e-10 is some thousand times the rounding.
func TestLinearFitAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		prior := drawnPrior()
		fit := newLinearFit(prior)
		matrix := mat.NewSymDense(tyreNumbers, nil)
		for i := range tyreNumbers {
			for j := i; j < tyreNumbers; j++ {
				matrix.SetSym(i, j, prior.information[i][j])
			}
		}
		vector := mat.NewVecDense(tyreNumbers, nil)
		for _, b := range drawnBallots(t) {
			slope, o := mat.NewVecDense(tyreNumbers, b.slope[:]), b.offers[0]
			fit.add(&b.slope, o.offset, o.weight)
			matrix.SymRankOne(matrix, o.weight, slope)
			vector.AddScaledVec(vector, o.weight*o.offset, slope)
		}
		got, ok := fit.solve()
		require.True(t, ok)
		var want mat.VecDense
		require.NoError(t, want.SolveVec(matrix, vector))
		for i := range got {
			require.InDelta(t, want.AtVec(i), got[i], 1e-10*(1+mat.Norm(&want, 2)))
		}
	})
}

// A singular matrix is not solved.
func TestLinearFitWithoutPrior(t *testing.T) {
	var fit linearFit
	fit.add(&[tyreNumbers]float64{1, 2, 3, 4, 5, 6, 7}, 1, 1)
	_, ok := fit.solve()
	require.False(t, ok)
}

// Adding up is given up only where the sum would have stayed below what was asked for.
func TestAgreementIsGivenUpInTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ballots := drawnBallots(t)
		atMost := mostAgreement(ballots)
		var delta [tyreNumbers]float64
		for i := range delta {
			delta[i] = rapid.Float64Range(-2, 2).Draw(t, "delta")
		}
		whole, ok := agreement(ballots, atMost, &delta, ballotTolerance, math.Inf(-1))
		require.True(t, ok)
		require.LessOrEqual(t, whole, atMost[0])
		least := rapid.Float64Range(0, atMost[0]).Draw(t, "least")
		sum, ok := agreement(ballots, atMost, &delta, ballotTolerance, least)
		if ok {
			require.Equal(t, whole, sum)
		} else {
			require.Less(t, whole, least)
		}
	})
}

// Two wheels are unlikely that differ, or of which one reaches inward of its rim's bead seat, as a
// mudguard does; tyres that are higher than wide are not.
func TestUnlikelyPairs(t *testing.T) {
	m := &set{knowledge: knowledge{rims: [2]float64{203, 203}}}
	wheel := func(ring, tube float64) *Wheel { return &Wheel{Ring: ring, Tube: tube} }
	tyre := wheel(228, 25)
	for _, c := range []struct {
		name        string
		left, right *Wheel
		want        float64 // by hand: 0.02 for each square of an offset in its spread
	}{
		{"alike", tyre, tyre, 0},
		{"higher than wide", wheel(231, 22), wheel(231, 22), 0},
		{"mudguards, 9 mm inward by a spread of 3 mm", wheel(224, 30), wheel(224, 30), 0.02 * 2 * 9},
		{"a tyre and a mudguard", tyre, wheel(224, 30), 0.02 * (9 + (1+5*5)/(1.5*1.5))},
	} {
		require.InDelta(t, c.want, m.unlikely(c.left, c.right), 1e-9, c.name)
	}
}
