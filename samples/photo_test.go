package samples

import (
	"bytes"
	"encoding/json"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"github.com/bep/imagemeta"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The same seed gives the same bytes, another seed other ones.
func TestSameSeedSameBytes(t *testing.T) {
	o := Options{LongSide: 320, Views: []View{CornerFrontLeft}, Setting: Garage, Guards: WithGuards}
	photo := func(seed uint64) []byte {
		b, err := NewScene(seed, o).Photo(0)
		require.NoError(t, err)
		return b
	}
	first := photo(8)
	assert.True(t, bytes.Equal(first, photo(8)))
	assert.False(t, bytes.Equal(first, photo(9)))
}

// A written folder holds what truth.json lists; an independent EXIF reader finds what
// was put in.
func TestWrite(t *testing.T) {
	dir := t.TempDir()
	s := NewScene(12, Options{LongSide: 320, Views: []View{Front, RearView}, HalfTurn: true, Plan: OneSheet})
	require.NoError(t, s.Write(dir))
	raw, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	require.NoError(t, err)
	var truth Truth
	require.NoError(t, json.Unmarshal(raw, &truth))
	assert.Equal(t, s.Truth(), truth)
	require.Len(t, truth.Photos, 4)
	assert.Len(t, truth.Sheets, 1)
	assert.Equal(t, "bottom", truth.Photos[3].ValvePosition)
	for i, p := range truth.Photos {
		file, err := os.ReadFile(filepath.Join(dir, p.File))
		require.NoError(t, err)
		picture, err := jpeg.Decode(bytes.NewReader(file))
		require.NoError(t, err)
		assert.Equal(t, p.Size, [2]int{picture.Bounds().Dx(), picture.Bounds().Dy()})

		tags := map[string]any{}
		_, err = imagemeta.Decode(imagemeta.Options{
			R: bytes.NewReader(file), ImageFormat: imagemeta.JPEG, Sources: imagemeta.EXIF,
			HandleTag: func(tag imagemeta.TagInfo) error { tags[tag.Tag] = tag.Value; return nil },
		})
		require.NoError(t, err)
		assert.Equal(t, s.Shots[i].Phone.Make, tags["Make"])
		assert.Equal(t, s.Shots[i].Phone.Model, tags["Model"])
		assert.EqualValues(t, p.Orientation, tags["Orientation"])
		assert.EqualValues(t, s.Shots[i].Phone.Focal35Mm, tags["FocalLengthIn35mmFormat"])
		focal, ok := tags["FocalLength"].(imagemeta.Rat[uint32])
		require.True(t, ok)
		assert.InDelta(t, s.Shots[i].Phone.FocalMm, focal.Float64(), 0.005)
	}
}

// BenchmarkPhoto takes photos of a phone's size and reports seconds a megapixel.
func BenchmarkPhoto(b *testing.B) {
	for _, setting := range []Setting{Bench, Driveway} {
		b.Run(setting.String(), func(b *testing.B) {
			s := NewScene(33, Options{Setting: setting, Views: []View{Front}})
			pixels := 0
			for b.Loop() {
				_, err := s.Photo(0)
				require.NoError(b, err)
				pixels += s.Shots[0].Width * s.Shots[0].Height
			}
			b.ReportMetric(b.Elapsed().Seconds()/float64(pixels)*1e6, "s/Mpx")
			b.ReportMetric(0, "ns/op")
		})
	}
}
