package measure

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	renderer "rimpair/samples"
	"rimpair/vision"
)

// Wheels whose rims run out by 4 mm, in known directions, drawn with the valves where 12, 3
// and 9 of a clock are, seen from the vehicle's right side: at 3 the valve is in front. A
// drawn wheel's angle grows from the top to the rear. Turned the wrong way round, or the
// wheels mistaken for each other, the direction that comes out would be another.
func TestClockSense(t *testing.T) {
	scene := renderer.NewScene(22, renderer.Options{LongSide: 2000, Setting: renderer.Bench, Views: []renderer.View{renderer.Front, renderer.RearView}})
	v := &scene.Vehicle
	for w, phaseDeg := range map[*renderer.Wheel]float64{&v.Left: 50, &v.Right: 200} {
		w.RunoutMm, w.RunoutPhaseDeg = 4, phaseDeg
	}
	positions := []struct{ hour, drawnDeg float64 }{{12, 0}, {3, 270}, {9, 90}}
	shots := scene.Shots
	scene.Shots = nil
	for _, p := range positions {
		for _, shot := range shots {
			shot.TurnDeg = p.drawnDeg
			scene.Shots = append(scene.Shots, shot)
		}
	}
	states := make([]State, len(positions))
	for i := range scene.Shots {
		file, err := scene.Photo(i)
		require.NoError(t, err)
		path := filepath.Join(t.TempDir(), "photo.jpg")
		require.NoError(t, os.WriteFile(path, file, 0o600))
		photo, err := vision.Load(path, vision.DefaultLimits())
		require.NoError(t, err)
		corners, err := vision.FindSheets(photo.Gray)
		require.NoError(t, err)
		s := &states[i/len(shots)]
		s.TurnRad = 2 * math.Pi * positions[i/len(shots)].hour / 12
		s.Inputs = append(s.Inputs, Input{Photo: photo, Corners: corners})
	}

	m, f, err := fitStates(states, Settings{BeadSeatMm: v.Left.BeadSeatMm, RunoutMm: 1, SteerWithinDeg: 1})
	require.NoError(t, err)
	m.positions, err = m.solvePositions(f)
	require.NoError(t, err)
	truth := v.State(0)
	for side, wheel := range map[Side]renderer.WheelTruth{Left: truth.Wheels.L, Right: truth.Wheels.R} {
		require.True(t, m.rimSeen(side))
		found := m.positions.runout(side)
		rim, axle := leanOfAxis(wheel.RimAxis), leanOfAxis(wheel.Axle)
		want := [leanNumbers]float64{rim[0] - axle[0], rim[1] - axle[1]}
		for number, sigma := range [leanNumbers]float64{math.Sqrt(found.covariance[0]), math.Sqrt(found.covariance[2])} {
			assert.InDelta(t, want[number], found.value[number], coverage95*sigma, "%s wheel, number %d", side, number)
			assert.Less(t, sigma, math.Hypot(want[0], want[1])/8, "it tells directions apart")
		}
	}
	assertInside(t, "total toe", m.report(f).Result.TotalToeMm, truth.TotalToeMm)
}

// leanOfAxis is an axis's heading and tilt.
func leanOfAxis(axis [3]float64) [leanNumbers]float64 {
	return [...]float64{math.Atan2(axis[1], axis[0]), math.Asin(axis[2])}
}
