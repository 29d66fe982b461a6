package measure

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	drawn "rimpair/samples"
	"rimpair/vision"
)

// samplePhotos are rendered photos of an invented vehicle with their truth.
const samplePhotos = "../samples/photos/plan-bench"

func sampleInputs(t *testing.T, names ...string) []Input {
	t.Helper()
	return inputsIn(t, samplePhotos, names...)
}

// inputsIn loads some photos of a set.
func inputsIn(t *testing.T, folder string, names ...string) []Input {
	t.Helper()
	var inputs []Input
	for _, name := range names {
		photo, err := vision.Load(filepath.Join(folder, name), vision.DefaultLimits())
		require.NoError(t, err)
		corners, err := vision.FindSheets(photo.Gray)
		require.NoError(t, err)
		inputs = append(inputs, Input{Photo: photo, Corners: corners})
	}
	return inputs
}

// truthIn is what is true of a set.
func truthIn(t *testing.T, folder string) (truth drawn.Truth) {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(folder, "truth.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &truth))
	return truth
}

func sampleTruth(t *testing.T) (left, right, rear drawn.WheelTruth) {
	t.Helper()
	w := truthIn(t, samplePhotos).Photos[0].State.Wheels
	return w.L, w.R, w.C
}

// trueRear is the sample's rear wheel against the front pair.
func trueRear(t *testing.T) (bisector, centreline, dx, dy float64, rear drawn.WheelTruth) {
	t.Helper()
	left, right, rear := sampleTruth(t)
	dx, dy = (left.HubMm[0]+right.HubMm[0])/2-rear.HubMm[0], (left.HubMm[1]+right.HubMm[1])/2-rear.HubMm[1]
	return (left.HeadingDeg + right.HeadingDeg) / 2, math.Atan2(-dx, dy) * degPerRad, dx, dy, rear
}

func assertInside(t *testing.T, name string, q Quantity, truth float64) {
	t.Helper()
	assert.True(t, q.Low95 <= truth && truth <= q.High95, "%s: %.3f is not in %.3f to %.3f", name, truth, q.Low95, q.High95)
}

func assertRear(t *testing.T, r *RearResult) {
	t.Helper()
	bisector, centreline, dx, dy, rear := trueRear(t)
	sin, cos := math.Sincos(rear.HeadingDeg / degPerRad)
	assertInside(t, "thrust", r.ThrustDeg, bisector-rear.HeadingDeg)
	assertInside(t, "lean", r.LeanDeg, rear.CamberDeg)
	assertInside(t, "steering", r.SteeringOffDeg, centreline-bisector)
	assertInside(t, "offset", r.OffsetMm, -dx*cos-dy*sin)
	assertInside(t, "wheelbase", r.WheelbaseMm, math.Hypot(dx, dy))
}

func assertOwnToes(t *testing.T, wheels []WheelResult) {
	t.Helper()
	left, right, _ := sampleTruth(t)
	_, centreline, _, _, _ := trueRear(t)
	assertInside(t, "left toe", wheels[Left].ToeDeg, *left.RimToeDeg+centreline)
	assertInside(t, "right toe", wheels[Right].ToeDeg, *right.RimToeDeg-centreline)
}

// One of two states shows the rear wheel: it is measured between the front wheels of that
// state, whether the states are positions of the wheels or are compared.
func TestRearWheelInStates(t *testing.T) {
	settings := Settings{BeadSeatMm: 305, RunoutMm: 1, SteerWithinDeg: 1}
	states := []State{
		{Name: "first", Inputs: sampleInputs(t, "front.jpg", "above.jpg")},
		{Name: "second", Inputs: sampleInputs(t, "rear.jpg")},
	}
	c, err := Compare(states, settings)
	require.NoError(t, err)
	assert.Nil(t, c.States[0].Rear)
	assert.Contains(t, c.Notes, Message{"rear_not_seen", Params{"state": "first"}})
	require.NotNil(t, c.States[1].Rear)
	assertRear(t, c.States[1].Rear)

	// The photos are of one position: said to be of two, they show rims without run-out,
	// whose leans are their axles'.
	states[1].TurnRad = math.Pi
	m, err := MeasurePositions(states, settings)
	require.NoError(t, err)
	r := m.Result
	require.NotNil(t, r.Rear)
	assert.Equal(t, "rear.jpg", r.Rear.Photo)
	assertRear(t, r.Rear)
	assertOwnToes(t, r.Wheels)
	assert.Contains(t, r.Notes, Message{Code: "centreline"})
	wheels := r.Wheels[Left].ToeDeg.Value + r.Wheels[Right].ToeDeg.Value
	diameter := (r.Wheels[Left].RimDiameterMm.Value + r.Wheels[Right].RimDiameterMm.Value) / 2
	assert.InDelta(t, r.RimTotalToeMm.Value, diameter*wheels/degPerRad, 0.05, "both wheels' own toe is the pair's")
}

func TestRearWheel(t *testing.T) {
	settings := Settings{BeadSeatMm: 305, RunoutMm: 1, SteerWithinDeg: 1}
	m, f, err := solve(sampleInputs(t, "front.jpg", "rear.jpg"), settings)
	require.NoError(t, err)
	r := m.findRear(f, 0)
	require.NotNil(t, r)
	result := m.report(f).Result
	require.NotNil(t, result.Rear)

	t.Run("the truth is inside", func(t *testing.T) {
		assertRear(t, result.Rear)
		assertOwnToes(t, result.Wheels)
		assert.Less(t, result.Rear.ThrustDeg.StandardUncertainty, 0.4)
	})

	t.Run("the pair is as it was without", func(t *testing.T) {
		rims := f.quantity(m.totalToeMm)
		assert.Equal(t, rims, result.RimTotalToeMm)
		assert.Equal(t, rims.Value, result.TotalToeMm.Value)
		assert.InDelta(t, 2*m.toeRad(f.scene)*degPerRad, result.Wheels[Left].ToeDeg.Value+result.Wheels[Right].ToeDeg.Value, 1e-9,
			"what the line is, the sum does not ask")
	})

	// The lens moved by a tenth of its uncertainty, the rear wheel comes out elsewhere by
	// what the covariance of both says: cov(y, x)/var(x) for the part of x that moves along.
	t.Run("uncertainty of the cameras is carried over", func(t *testing.T) {
		n := f.adjustment.layout.n
		from := &fitted{adjustment: f.adjustment}
		alone := func(s *Scene) [tyreNumbers]float64 {
			scene := s.clone()
			scene.Wheels[Left] = r.Wheel
			solution, err := Solve(r.adjustment.problem(), scene, Options{Tolerance: 1e-9})
			require.NoError(t, err)
			return r.Wheel.difference(&solution.State.Wheels[Left])
		}
		// A draw of all unknowns, and what it makes of the wheel.
		var factor mat.Cholesky
		require.True(t, factor.Factorize(f.covariance()))
		var root mat.TriDense
		factor.LTo(&root)
		start := alone(f.scene)
		for _, k := range []int{0, n / 3, n / 2, n - 1} {
			delta := make([]float64, n)
			for i := range delta {
				delta[i] = 0.02 * root.At(i, k)
			}
			got := alone(from.adjustment.layout.plus(f.scene, delta))
			x := mat.NewVecDense(n, nil)
			require.NoError(t, factor.SolveVecTo(x, mat.NewVecDense(n, delta)))
			for number := range tyreNumbers {
				want := 0.0
				for i := range n {
					want += r.covariance.At(n+number, i) / (f.inflation() * f.inflation()) * x.AtVec(i)
				}
				assert.InDelta(t, want, got[number]-start[number], 0.002*r.sigma(number), "number %d with unknown %d", number, k)
			}
		}
	})
}

func TestRearWheelNotSeen(t *testing.T) {
	m, err := Measure(sampleInputs(t, "front.jpg", "above.jpg"), Settings{BeadSeatMm: 305, RunoutMm: 1, SteerWithinDeg: 1})
	require.NoError(t, err)
	assert.Nil(t, m.Result.Rear)
	assert.Equal(t, m.Result.RimTotalToeMm.Value, m.Result.TotalToeMm.Value)
	assert.Contains(t, m.Result.Notes, Message{Code: "pair_only"})
	assert.Equal(t, m.Result.Wheels[Left].ToeDeg, m.Result.Wheels[Right].ToeDeg)
}
