package report

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report/job"
)

func jpegOf(t testing.TB, width, height int) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, width, height)), nil))
	return b.Bytes()
}

// longJob has the given number of stages with four photos each.
func longJob(stages int) *job.Inspected {
	j := &job.Job{Schema: job.Schema}
	for n, stage := range job.Stages()[:stages] {
		e := job.Entry{Measurement: &job.Measurement{Stage: stage, TotalToeMm: quantity(1, 0.1)}}
		for k := range 4 {
			f := job.File{File: fmt.Sprintf("pictures/%d-%d.jpg", n, k), Name: "x.jpg"}
			e.Photos, e.Pictures = append(e.Photos, f), append(e.Pictures, f)
		}
		j.Entries = append(j.Entries, e)
	}
	return &job.Inspected{Job: j, Results: map[int]measure.Result{}}
}

// Every stage shows its photos: all large up to a dozen, and in a longer job small
// ones between the first and the last stage.
func TestEveryStageShowsItsPhotos(t *testing.T) {
	l, err := NewLanguage("de")
	require.NoError(t, err)
	large := jpegOf(t, pageLongSidePx, pageLongSidePx*3/4)
	for stages, want := range map[int][]int{
		3: {pageLongSidePx, pageLongSidePx, pageLongSidePx},
		5: {pageLongSidePx, thumbLongSidePx, thumbLongSidePx, thumbLongSidePx, pageLongSidePx},
	} {
		p := NewJobPaper(JobSource{Job: longJob(stages), Now: time.Unix(0, 0), Language: l,
			Picture: func(job.File) ([]byte, error) { return large, nil }})
		var widths []int
		for _, b := range p.Blocks {
			if len(b.Pictures) == 0 {
				continue
			}
			assert.Len(t, b.Pictures, 4, b.Heading)
			size, err := jpeg.DecodeConfig(bytes.NewReader(b.Pictures[0].JPEG))
			require.NoError(t, err)
			widths = append(widths, size.Width)
		}
		assert.Equal(t, want, widths)
	}
}

func TestThumbnailsOfWhatIsNoPictureOfAJob(t *testing.T) {
	for name, content := range map[string][]byte{"too large": jpegOf(t, 2*pageLongSidePx+1, 10), "no JPEG": []byte("x"), "cut off": jpegOf(t, 64, 64)[:300]} {
		_, err := thumbnails(func(job.File) ([]byte, error) { return content, nil })(job.File{})
		assert.Error(t, err, name)
	}
	gone := errors.New("gone")
	_, err := thumbnails(func(job.File) ([]byte, error) { return nil, gone })(job.File{})
	assert.ErrorIs(t, err, gone)
}
