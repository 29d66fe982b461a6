package report

import (
	"image"
	"image/color"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// marked is a black picture of 6 x 4 pixels with one white.
func marked(x, y int) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, 6, 4))
	img.SetGray(x, y, color.Gray{Y: 255})
	return img
}

// Source: JEITA CP-3451 (EXIF 2.2), tag Orientation: which side of what a person
// saw the stored picture's row 0 and column 0 are.
func TestTurnsUprightAsTheStandardSays(t *testing.T) {
	for orientation, sides := range map[int][2]string{
		1: {"top", "left"},
		2: {"top", "right"},
		3: {"bottom", "right"},
		4: {"bottom", "left"},
		5: {"left", "top"},
		6: {"right", "top"},
		7: {"right", "bottom"},
		8: {"left", "bottom"},
	} {
		for i, stored := range []image.Point{{X: 3, Y: 0}, {X: 0, Y: 2}} { // in row 0, in column 0
			p := NewPicture(marked(stored.X, stored.Y), orientation)
			at := p.place(calib.Point{X: float64(stored.X), Y: float64(stored.Y)})
			assert.Equal(t, uint8(255), p.Upright.RGBAAt(int(at.X), int(at.Y)).R,
				"orientation %d: place and pixels agree", orientation)
			size := p.Upright.Rect.Size()
			distance := map[string]float64{
				"left": at.X, "right": float64(size.X-1) - at.X,
				"top": at.Y, "bottom": float64(size.Y-1) - at.Y,
			}
			assert.Zero(t, distance[sides[i]], "orientation %d: %v is at the %s", orientation, stored, sides[i])
		}
	}
}

func TestSampleInterpolates(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 4, 4))
	for y := range 4 {
		for x := range 4 {
			img.SetGray(x, y, color.Gray{Y: uint8(10*x + 40*y)})
		}
	}
	p := NewPicture(img, 1)
	c, ok := p.sample(calib.Point{X: 1.25, Y: 2.5})
	require.True(t, ok)
	assert.InDelta(t, 112.5, c[0], 1e-4) // 10 * 1.25 + 40 * 2.5: bilinear is exact on a plane
	for _, outside := range []calib.Point{{X: -0.1, Y: 1}, {X: 1, Y: -0.1}, {X: 3.1, Y: 1}, {X: 1, Y: 3.1}} {
		_, ok := p.sample(outside)
		assert.False(t, ok, outside)
	}
}

func TestTransparentPicturesLieOnWhite(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 2, 1))
	img.SetNRGBA(1, 0, color.NRGBA{A: 255})
	p := NewPicture(img, 1)
	assert.Equal(t, color.RGBA{255, 255, 255, 255}, p.Upright.RGBAAt(0, 0))
	assert.Equal(t, color.RGBA{0, 0, 0, 255}, p.Upright.RGBAAt(1, 0))
}

// Source: a HEIC file that the decoder's own tests come with.
func TestOpensHEIC(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/gen2brain/heic").Output()
	require.NoError(t, err)
	path := filepath.Join(strings.TrimSpace(string(dir)), "testdata", "test8.heic")
	plain, err := OpenPicture(path, 1)
	require.NoError(t, err)
	size := plain.Upright.Rect.Size()
	assert.Equal(t, size, image.Pt(plain.width, plain.height))

	// Its decoder turns pictures itself: the tag only says where stored pixels went.
	tagged, err := OpenPicture(path, 6)
	require.NoError(t, err)
	assert.Equal(t, plain.Upright.Pix, tagged.Upright.Pix)
	assert.Equal(t, size, image.Pt(tagged.height, tagged.width))
	assert.Equal(t, calib.Point{X: float64(size.X - 1)}, tagged.place(calib.Point{}), "the stored top left is at the top right")
}
