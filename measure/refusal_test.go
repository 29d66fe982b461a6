package measure

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

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

// A rim 2.5 mm smaller than the other one in diameter, which is another edge of it; not so where
// the photos leave as much open.
func TestRimsThatDiffer(t *testing.T) {
	d := newDraw(t, rand.New(rand.NewPCG(8, 1)))
	solution, err := Solve(d.adjustment.problem(), d.start, solverOptions)
	require.NoError(t, err)
	f := &fitted{scene: solution.State, adjustment: d.adjustment, solution: solution}
	require.NoError(t, d.set.verifySize(f))
	f.scene.Wheels[Left].Rim[Left.inboard()].Radius -= 1.25 + d.set.rimRadius(f.scene, Left) - d.set.rimRadius(f.scene, Right)
	requireCode(t, "wheel_unclear", d.set.verifySize(f))
	f.doubt = 10
	require.NoError(t, d.set.verifySize(f))
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

// Photos so small that the wheels lie outside; from beside a tyre as well, whose outline then
// runs through the camera's own plane.
func TestWheelsCutOff(t *testing.T) {
	for _, eye := range []r3.Vec{{X: -330, Y: 800, Z: 1200}, {X: -560, Y: 0, Z: 400}} {
		s := exampleScene()
		s.Photos[0].Pose = lookAt(eye, r3.Vec{X: eye.X, Y: eye.Y - 1, Z: 0}, r3.Vec{Y: 1})
		m := &set{scene: s}
		for range s.Photos {
			m.inputs = append(m.inputs, Input{Photo: &vision.Photo{Path: "a.jpg", Gray: &vision.Gray{Width: 10, Height: 10}}})
		}
		requireCode(t, "wheels_cut_off", m.verifyPhotos(&fitted{scene: s}))
	}
}
