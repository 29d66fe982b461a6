package review

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/vision"
)

const samplePhoto = "../../samples/photos/plan-bench/front.jpg"

func options(measured func([]measure.State) (*measure.Measurement, error)) Options {
	return Options{Limits: vision.DefaultLimits(), AtOnce: 2, Hold: HoldAtMost(1), Measure: measured}
}

// Whatever goes wrong with a file or in measuring is said in its place, and each step is
// told to its end.
func TestRunGoesOn(t *testing.T) {
	dir := t.TempDir()
	words := filepath.Join(dir, "words.jpg")
	require.NoError(t, os.WriteFile(words, []byte("no photo"), 0o644))
	files := []File{{Path: samplePhoto, Name: "a/front.jpg"}, {Path: words, Name: "b/words.jpg"}, {Path: filepath.Join(dir, "gone.jpg"), Name: "b/gone.jpg"}, {Path: dir, Name: "b/folder.jpg"}}
	o := options(func(states []measure.State) (*measure.Measurement, error) {
		assert.Equal(t, "a/front.jpg", states[0].Inputs[0].Photo.Path, "refusals name photos as they came")
		panic("bad photo")
	})
	var mu sync.Mutex
	steps := map[string][2]int{}
	o.Progress = func(step string, done, of int) {
		mu.Lock()
		defer mu.Unlock()
		steps[step] = [2]int{max(done, steps[step][0]), of}
	}
	groups, loose, err := Run(t.Context(), files, o)
	require.NoError(t, err)
	require.Len(t, groups, 1)
	assert.Equal(t, "a", groups[0].Folder)
	require.NotNil(t, groups[0].Refused)
	assert.Equal(t, "unreadable", groups[0].Refused.Code)
	require.Len(t, loose, 3)
	for _, p := range loose {
		assert.Equal(t, Repeat, p.Judgement.Verdict, p.Name)
	}
	assert.Equal(t, map[string][2]int{Judging: {4, 4}, Measuring: {1, 1}}, steps)
}

// An error that is no photo's fault ends the review.
func TestRunEnds(t *testing.T) {
	broken := errors.New("the camera's profile is damaged")
	_, _, err := Run(t.Context(), []File{{Path: samplePhoto, Name: "front.jpg"}}, options(func([]measure.State) (*measure.Measurement, error) {
		return nil, broken
	}))
	assert.ErrorIs(t, err, broken)
}

func TestChoked(t *testing.T) {
	p := Photo{Camera: phone}
	func() {
		defer choked(&p, File{Name: "a.heic"})
		panic("bad photo")
	}()
	assert.Equal(t, "a.heic", p.Name)
	assert.Equal(t, "unreadable", p.Judgement.Findings[0].Code)
	assert.False(t, p.useful())
}
