package measure

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
	"rimpair/vision"
)

// Refusals that pictures lead to by chance only, from points.

func requireCode(t *testing.T, code string, err error) {
	t.Helper()
	var refusal *vision.Refusal
	require.ErrorAs(t, err, &refusal)
	assert.Equal(t, code, refusal.Code, "%v", refusal)
	assert.NotEmpty(t, refusal.Reason)
	assert.NotEmpty(t, refusal.Remedy)
}

// Points that scatter four times as much as they say.
func TestNotSettled(t *testing.T) {
	d := newDraw(t, rand.New(rand.NewPCG(8, 1)))
	g := rand.New(rand.NewPCG(8, 2))
	d.adjustment.corners, d.adjustment.edges = observe(d.truth, func() float64 { return 4 * g.NormFloat64() })
	solution, err := Solve(d.adjustment.problem(), d.start, solverOptions)
	require.NoError(t, err)
	requireCode(t, "not_settled", d.set.verify(&fitted{scene: solution.State, adjustment: d.adjustment, solution: solution}))
}

// Too few edges of the wheels.
func TestUnclear(t *testing.T) {
	d := newDraw(t, rand.New(rand.NewPCG(8, 1)))
	a := d.adjustment
	a.edges, a.priors = a.edges[:2], nil
	_, err := Solve(a.problem(), d.start, solverOptions)
	requireCode(t, "wheel_unclear", d.set.unsettled(err))
}

// Every other photo's picture was stretched, as some programs do.
func TestCameraNotSettled(t *testing.T) {
	inputs := shots(t, rand.New(rand.NewPCG(9, 1)), drawnCamera, plannedStands())
	for i := range inputs {
		for k := range inputs[i].Corners {
			inputs[i].Corners[k].X *= float64(1 + i%2)
		}
	}
	_, err := Calibrate(inputs, nil, calib.Chessboard{})
	requireCode(t, "camera_not_settled", err)
}
