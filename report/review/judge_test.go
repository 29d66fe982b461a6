package review

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
		j := Judge(photo, begun)
		t.Logf("%s: %+v", path, j)
		assert.NotEqual(t, Repeat, j.Verdict, path)
		assert.Equal(t, strings.TrimSuffix(filepath.Base(path), ".jpg"), j.Angle, path)
		assert.Positive(t, j.Seconds)
	}
}

func TestJudgeWithoutSheets(t *testing.T) {
	j := Judge(&vision.Photo{Gray: &vision.Gray{Width: 640, Height: 480, Pix: make([]uint8, 640*480)}}, time.Now())
	assert.Equal(t, Repeat, j.Verdict)
	require.Len(t, j.Findings, 1)
	assert.NotEmpty(t, j.Findings[0].Remedy)
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
		j := Judge(photo, begun)
		t.Logf("%s: %s %v squares %.0f blur %.2f %s %d-%d %s pitch %.0f %.2f s %v", path, j.Verdict, j.Sheets, j.SquarePx, j.BlurPx, j.Exposure, j.Black, j.White, j.Angle, j.Pitch, j.Seconds, j.Findings)
	}
}
