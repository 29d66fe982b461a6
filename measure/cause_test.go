package measure

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/vision"
)

// A profile whose focal length is 2 % too short, as of another phone whose EXIF says the
// same: the sheets allow it, the wheels do not.
func TestForeignProfileIsTheCause(t *testing.T) {
	inputs := sampleInputs(t, "front.jpg", "rear.jpg")
	settings := Settings{BeadSeatMm: 305, RunoutMm: 1, SteerWithinDeg: 1}
	_, f, err := solve(inputs, settings)
	require.NoError(t, err)

	lens := f.scene.Cameras[0]
	lens.F *= 0.98
	covariance := mat.NewSymDense(calib.NumIntrinsics-1, nil) // without k3
	for i, u := range []float64{2, 3, 3, 0.003, 0.01, 1e-4, 1e-4} {
		covariance.SetSym(i, i, u*u)
	}
	profile := calib.NewProfile(calib.Device(inputs[0].Photo.Camera), lens, covariance)
	settings.Cameras = map[vision.CameraID]*calib.Profile{inputs[0].Photo.Camera: &profile}

	_, _, err = solve(inputs, settings)
	assert.Contains(t, doubtful, refusalOf(t, err).Code, "the photos seem to contradict each other")
	_, err = Measure(inputs, settings)
	refusal := refusalOf(t, err)
	assert.Equal(t, "camera_mismatch", refusal.Code)
	assert.Contains(t, refusal.Reason, "without it they agree")
	assert.Contains(t, refusal.Remedy, "--camera none")
}

// A sheet that bends is named, by its number and how far; a flat one that was moved
// between the photos is not called bent.
func TestBentSheetIsTheCause(t *testing.T) {
	inputs := sampleInputs(t, "front.jpg", "rear.jpg", "above.jpg")
	settings := Settings{BeadSeatMm: 305, RunoutMm: 1, SteerWithinDeg: 1}
	_, f, err := solve(inputs, settings)
	require.NoError(t, err)

	for sheet := range f.scene.Sheets {
		scene := f.scene.clone()
		scene.Sheets[sheet].Warp = [3]float64{15, 0, 0}
		_, err = Measure(seenAs(t, inputs, scene), settings)
		refusal := refusalOf(t, err)
		assert.Equal(t, "sheets_moved", refusal.Code)
		assert.Regexp(t, fmt.Sprintf(`^Sheet %d does not lie flat: it bends by some 1[4-6] mm`, scene.Sheets[sheet].Number), refusal.Reason)
	}

	moved := f.scene.clone()
	moved.Sheets[1].Pose.T.X += 20
	seen := slices.Concat(seenAs(t, inputs[:1], f.scene), seenAs(t, inputs, moved)[1:])
	_, err = Measure(seen, settings)
	refusal := refusalOf(t, err)
	assert.Equal(t, "sheets_moved", refusal.Code)
	assert.NotContains(t, refusal.Reason, "lie flat")
}

// seenAs are the photos with the sheets' corners where a scene has them.
func seenAs(t *testing.T, inputs []Input, s *Scene) []Input {
	t.Helper()
	seen := slices.Clone(inputs)
	for photo := range seen {
		v := s.view(photo)
		seen[photo].Corners = slices.Clone(seen[photo].Corners)
		for i := range seen[photo].Corners {
			c := &seen[photo].Corners[i]
			k := slices.IndexFunc(s.Sheets, func(sheet SheetState) bool { return sheet.Number == c.Sheet })
			at, ok := v.camera.Project(v.pose.Apply(s.Sheets[k].Pose.Apply(s.Sheets[k].onPaper(c.Index))))
			require.True(t, ok)
			c.X, c.Y = at.X, at.Y
		}
	}
	return seen
}

func refusalOf(t *testing.T, err error) *vision.Refusal {
	t.Helper()
	var refusal *vision.Refusal
	require.ErrorAs(t, err, &refusal)
	return refusal
}
