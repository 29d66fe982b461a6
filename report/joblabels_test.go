package report

import (
	"image"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report/job"
)

// The words on the pictures are the language's, their figures the result's, and all of
// them stay on the picture.
func TestWordsOnPictures(t *testing.T) {
	german, err := NewLanguage("de")
	require.NoError(t, err)
	r := sampleResult()
	f := job.File{}
	for i, code := range []string{"sheet", "left_wheel", "front_gap", "rear_gap", "left_angles", "right_angles", "of_a_newer_program"} {
		f.Labels = append(f.Labels, job.Label{At: [2]float64{float64(i % 2), 0.5}, Message: measure.Message{Code: code, Params: measure.Params{"number": 3.0}}})
	}
	for _, size := range []image.Point{{X: 1400, Y: 1050}, {X: 1050, Y: 1400}, {X: 20, Y: 1400}} {
		width, height, shapes := german.labelled(f, size, &r)
		assert.InDelta(t, labelFrame, math.Max(width, height), 1e-9)
		assert.InDelta(t, float64(size.X)/float64(size.Y), width/height, 1e-9)
		var words []string
		for _, s := range shapes {
			words = append(words, s.Text)
			assert.True(t, s.X >= 0 && s.X <= width && s.Y >= 0 && s.Y <= height, "%v", s)
			if size.X > 1000 {
				half := widestLetter * labelSize * float64(len([]rune(s.Text))) / 2
				assert.True(t, s.X >= half-1e-9 && s.X <= width-half+1e-9, "%v", s)
			}
		}
		assert.Equal(t, []string{"Blatt 3", "linkes Rad", "Abstand vorn 691,6 ± 1,2 mm", "Abstand hinten 695,6 ± 1,2 mm",
			"linkes Rad", "Spur 0,365 ± 0,079°", "Sturz -0,28 ± 0,12°", "rechtes Rad", "Spur 0,365 ± 0,078°", "Sturz -0,20 ± 0,12°"}, words)
	}
	// Of a damaged result there are no figures.
	_, _, shapes := german.labelled(f, image.Pt(1400, 1050), nil)
	for _, s := range shapes {
		assert.False(t, strings.ContainsRune(s.Text, '±'), s.Text)
	}
}

// The pictures of a job carry their words apart, at the places where the marked photos
// have them.
func TestPicturesOfAJobCarryTheirWords(t *testing.T) {
	m, paths := twoPhotos(t)
	m.Overlays[0] = measure.Overlay{
		Corners: []measure.CornerMark{{Sheet: 2, Seen: calib.Point{X: 100, Y: 150}}, {Sheet: 2, Seen: calib.Point{X: 140, Y: 200}}},
		Curves:  []measure.Curve{{Side: "left", Points: []calib.Point{{X: 300, Y: 100}, {X: 360, Y: 200}}}},
	}
	pictures, err := JobPictures(m, paths, []int{1, 1})
	require.NoError(t, err)
	require.Len(t, pictures, 3)
	codes := func(p JobPicture) (list []string) {
		for _, w := range p.Labels {
			assert.True(t, w.At[0] >= 0 && w.At[0] <= 1 && w.At[1] >= 0 && w.At[1] <= 1, "%v", w)
			list = append(list, w.Code)
		}
		return list
	}
	assert.Equal(t, []string{"sheet", "left_wheel"}, codes(pictures[0]))
	assert.InDelta(t, 120.5/400, pictures[0].Labels[0].At[0], 1e-9, "above the middle of its corners")
	assert.InDelta(t, 330.5/400, pictures[0].Labels[1].At[0], 1e-9)
	assert.Less(t, pictures[0].Labels[1].At[1], 100.0/300)
	assert.Empty(t, pictures[1].Labels)
	assert.Equal(t, []string{"front_gap", "rear_gap", "left_angles", "right_angles"}, codes(pictures[2]))
}
