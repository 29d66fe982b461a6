package report

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
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

// grainy is the worst that a JPEG can be asked to hold: every pixel by chance.
func grainy(width, height int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	random := rand.New(rand.NewPCG(1, 2))
	for i := range img.Pix {
		img.Pix[i] = byte(random.Uint32())
	}
	return img
}

// However grainy the photos are, a report of a dozen can be sent, and so
// can one of 40: of these the last are still large.
func TestReportsCanBeSent(t *testing.T) {
	const most = 5e6 // bytes
	photo := grainy(pageLongSidePx, pageLongSidePx*3/4)
	large, err := pageJPEG(photo, pageLongSidePx, largestPicture)
	require.NoError(t, err)
	require.Greater(t, len(large), largestPicture/2, "as large as may be")
	for _, c := range []struct{ stages, photos, large int }{{4, 3, 12}, {1, 40, 8}, {5, 8, 8}} {
		j := &job.Job{Schema: job.Schema}
		for _, stage := range job.Stages()[:c.stages] {
			e := job.Entry{Measurement: &job.Measurement{Stage: stage, TotalToeMm: quantity(1, 0.1)}}
			e.Photos, e.Pictures = make([]job.File, c.photos), make([]job.File, c.photos+1)
			j.Entries = append(j.Entries, e)
		}
		p := NewJobPaper(JobSource{Job: &job.Inspected{Job: j}, Language: English(), Picture: func(job.File) ([]byte, error) { return large, nil }})
		photos := 0
		for _, b := range p.Blocks {
			for k, picture := range b.Pictures {
				if k < c.photos && len(picture.JPEG) == len(large) {
					photos++
				}
			}
		}
		assert.Equal(t, c.large, photos, "%v", c)
		assert.Less(t, len(htmlOf(t, p)), int(most), "%v", c)
		var pdf bytes.Buffer
		require.NoError(t, p.PDF(&pdf, calib.Papers()[0]))
		assert.Less(t, pdf.Len(), int(most), "%v", c)
	}
}
