package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

// curve is a regression y = f(x; b) as the solver sees it.
func curve(x, y []float64, f func(b []float64, x float64) float64, derivs func(b []float64, x float64) []float64, unknowns int) Problem[[]float64] {
	cols := make([]int, unknowns)
	for i := range cols {
		cols[i] = i
	}
	return Problem[[]float64]{
		Unknowns: unknowns,
		Rows: func(b []float64, emit func(Row)) bool {
			for i := range x {
				emit(Row{Cols: cols, Derivs: derivs(b, x[i]), Residual: f(b, x[i]) - y[i]})
			}
			return true
		},
		Plus: plusVector,
	}
}

func plusVector(s, delta []float64) []float64 {
	moved := make([]float64, len(s))
	for i := range s {
		moved[i] = s[i] + delta[i]
	}
	return moved
}

// NIST StRD, Misra1a (values in reference-values.md): certified b1, b2, residual
// sum of squares.
func TestSolveMisra1a(t *testing.T) {
	x := []float64{77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0}
	y := []float64{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78}
	p := curve(x, y,
		func(b []float64, x float64) float64 { return b[0] * (1 - math.Exp(-b[1]*x)) },
		func(b []float64, x float64) []float64 {
			e := math.Exp(-b[1] * x)
			return []float64{1 - e, b[0] * x * e}
		}, 2)
	for _, start := range [][]float64{{500, 0.0001}, {250, 0.0005}} {
		s, err := Solve(p, start, Options{})
		require.NoError(t, err)
		require.InEpsilon(t, 238.94212918, s.State[0], 1e-9)
		require.InEpsilon(t, 5.5015643181e-4, s.State[1], 1e-9)
		require.InEpsilon(t, 0.12455138894, 2*s.Cost, 1e-9)
		require.IsType(t, &mat.SymDense{}, s.Covariance)
		t.Log(s.Iterations, s.Condition)
	}
}
