package review

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/samples"
	"rimpair/vision"
)

// Every sample photo is measurable (cmd/rimpair measures them in its demo), so none
// may be asked for again; without a sheet there is nothing to judge by.
func TestJudgeSamples(t *testing.T) {
	paths, err := filepath.Glob("../../samples/photos/*/*.jpg")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		begun := time.Now()
		photo, err := vision.Load(path, vision.DefaultLimits())
		require.NoError(t, err)
		j := Judge(photo, 0, begun)
		t.Logf("%s: %s %v, %.2f s", path, j.Verdict, j.Findings, j.Seconds)
		assert.NotEqual(t, Repeat, j.Verdict, path)
		assert.Equal(t, []string{"left", "right"}, j.Wheels, path)
		assert.Equal(t, strings.TrimSuffix(filepath.Base(path), ".jpg"), j.Angle, path)
		assert.Positive(t, j.Seconds)
	}
}

func TestJudgeWithoutSheets(t *testing.T) {
	j := Judge(&vision.Photo{Gray: &vision.Gray{Width: 640, Height: 480, Pix: make([]uint8, 640*480)}}, 0, time.Now())
	assert.Equal(t, Repeat, j.Verdict)
	require.Len(t, j.Findings, 1)
	assert.NotEmpty(t, j.Findings[0].Remedy)
}

// What is seen of the wheels, in drawn photos that differ in one thing alone.
func TestJudgeWheels(t *testing.T) {
	scene := samples.NewScene(22, samples.Options{LongSide: 1600, Setting: samples.Bench, Views: []samples.View{samples.Front}})
	for _, test := range []struct {
		name    string
		change  func(*samples.Scene)
		wheels  []string
		finding string
	}{
		{"both whole", func(*samples.Scene) {}, []string{"left", "right"}, ""},
		{"none", func(s *samples.Scene) { s.Vehicle.Left.Hub.Z, s.Vehicle.Right.Hub.Z = -2000, -2000 }, []string{}, "wheels_not_found"},
		// Seen from the front, the vehicle's left is on the right.
		{"camera moved to the picture's left", func(s *samples.Scene) { s.Shots[0].Pose.T.X += 600 }, []string{"left", "right"}, "wheel_cut_off.left"},
		{"camera moved to the picture's right", func(s *samples.Scene) { s.Shots[0].Pose.T.X -= 420 }, []string{"left", "right"}, "wheel_cut_off.right"},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := scene
			s.Shots = slices.Clone(scene.Shots)
			test.change(&s)
			content, err := s.Photo(0)
			require.NoError(t, err)
			path := filepath.Join(t.TempDir(), "photo.jpg")
			require.NoError(t, os.WriteFile(path, content, 0o600))
			photo, err := vision.Load(path, vision.DefaultLimits())
			require.NoError(t, err)
			j := Judge(photo, scene.Vehicle.Left.BeadSeatMm, time.Now())
			assert.Equal(t, test.wheels, j.Wheels)
			var codes []string
			for _, f := range j.Findings {
				if strings.HasPrefix(f.Code, "wheel") && f.Code != "wheels_unsure" {
					codes = append(codes, f.Code)
				}
			}
			assert.Equal(t, test.finding, strings.Join(codes, " "))
			assert.Equal(t, test.finding == "wheels_not_found", j.Verdict == Repeat)
		})
	}
}

// TestJudgeFolder judges the photos below RIMPAIR_PHOTOS, to be looked at.
func TestJudgeFolder(t *testing.T) {
	dir := os.Getenv("RIMPAIR_PHOTOS")
	if dir == "" {
		t.Skip("RIMPAIR_PHOTOS names no folder")
	}
	paths, err := filepath.Glob(filepath.Join(dir, "*", "*.jpg"))
	require.NoError(t, err)
	for _, path := range paths {
		begun := time.Now()
		photo, err := vision.Load(path, vision.DefaultLimits())
		if err != nil {
			t.Logf("%s: %v", path, err)
			continue
		}
		j := Judge(photo, 0, begun)
		t.Logf("%s: %s %v squares %.0f blur %.2f %s %d-%d %s pitch %.0f %.2f s %v", path, j.Verdict, j.Sheets, j.SquarePx, j.BlurPx, j.Exposure, j.Black, j.White, j.Angle, j.Pitch, j.Seconds, j.Findings)
	}
}
