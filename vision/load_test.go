package vision

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/bep/imagemeta"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const samplePhotos = "../samples/photos/plan-bench/"

func save(t *testing.T, name string, data []byte) string {
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func testdata(t *testing.T, name string) []byte {
	data, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	return data
}

func sampleFile(t *testing.T) []byte {
	data, err := os.ReadFile(samplePhotos + "front.jpg")
	require.NoError(t, err)
	return data
}

// pattern is a small picture whose grey values are known everywhere.
func pattern(width, height int) *image.Gray {
	m := image.NewGray(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			m.SetGray(x, y, color.Gray{Y: uint8(40 + 2*x + y)})
		}
	}
	return m
}

func encodePNG(t *testing.T, m image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	return b.Bytes()
}

func encodeJPEG(t *testing.T, m image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, &jpeg.Options{Quality: 100}))
	return b.Bytes()
}

// hugePNG is a PNG of the given size by its header, with hardly any data: what a
// decompression bomb looks like from outside.
func hugePNG(width, height uint32) []byte {
	var b bytes.Buffer
	b.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		_ = binary.Write(&b, binary.BigEndian, uint32(len(data)))
		body := append([]byte(kind), data...)
		b.Write(body)
		_ = binary.Write(&b, binary.BigEndian, crc32.ChecksumIEEE(body))
	}
	head := binary.BigEndian.AppendUint32(nil, width)
	head = binary.BigEndian.AppendUint32(head, height)
	chunk("IHDR", append(head, 8, 0, 0, 0, 0))
	chunk("IDAT", []byte{0x78, 0x9c, 0x03, 0, 0, 0, 0, 1})
	chunk("IEND", nil)
	return b.Bytes()
}

func TestLoadRefusals(t *testing.T) {
	photo := sampleFile(t)
	heic, webp := testdata(t, "turned.heic"), testdata(t, "pattern.webp")
	small := encodePNG(t, pattern(60, 40))
	ended := append(bytes.Clone(photo[:len(photo)/2]), 0xFF, 0xD9)
	zeroed := append(bytes.Clone(photo[:len(photo)/2]), make([]byte, len(photo)/2)...)
	tight := DefaultLimits()
	tight.Bytes = int64(len(photo)) - 1
	few := DefaultLimits()
	few.Pixels = 1e6
	short := DefaultLimits()
	short.Time = time.Nanosecond

	for _, c := range []struct {
		name  string
		data  []byte
		limit Limits
		code  string
	}{
		{"empty.jpg", nil, DefaultLimits(), "not_a_photo"},
		{"text.jpg", []byte("This is a letter, not a photo.\n"), DefaultLimits(), "not_a_photo"},
		{"animation.gif", []byte("GIF89a\x10\x00\x10\x00\x00\x00\x00"), DefaultLimits(), "not_a_photo"},
		{"half.jpg", photo[:len(photo)/2], DefaultLimits(), "truncated"},
		{"nearly.jpg", photo[:len(photo)-2], DefaultLimits(), "truncated"},
		{"header.jpg", photo[:40], DefaultLimits(), "truncated"},
		{"half-with-end.jpg", ended, DefaultLimits(), "truncated"},
		{"half-zero.jpg", zeroed, DefaultLimits(), "truncated"},
		{"half.png", small[:len(small)/2], DefaultLimits(), "truncated"},
		{"half.webp", webp[:len(webp)/2], DefaultLimits(), "truncated"},
		{"half.heic", heic[:len(heic)/2], DefaultLimits(), "truncated"},
		{"bytes.jpg", photo, tight, "too_large"},
		{"pixels.jpg", photo, few, "too_large"},
		{"two-gigapixels.png", hugePNG(50000, 40000), DefaultLimits(), "too_large"},
		{"greatest.png", hugePNG(math.MaxInt32, math.MaxInt32), DefaultLimits(), "too_large"},
		{"empty-data.png", hugePNG(1000, 1000), DefaultLimits(), "unreadable"},
		{"slow.jpg", photo, short, "too_slow"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := save(t, c.name, c.data)
			start := time.Now()
			p, err := Load(path, c.limit)
			assert.Nil(t, p)
			var refusal *Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, c.code, refusal.Code, refusal.Error())
			assert.Equal(t, path, refusal.Photo)
			assert.NotEmpty(t, refusal.Reason)
			assert.NotEmpty(t, refusal.Remedy)
			// A picture refused by its header costs no decoding; seconds allow for a busy machine.
			assert.Less(t, time.Since(start), 5*time.Second)
		})
	}
}

// Damaged in any place, a file gives a picture or a refusal, never a crash.
func TestLoadDamagedAnywhere(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, name := range []string{"pattern.webp", "pattern-progressive.jpg", "pattern-cmyk.jpg", "turned.heic"} {
		file := testdata(t, name)
		limits := DefaultLimits()
		limits.Pixels = 1e6
		check := func(damaged []byte) {
			h, err := readHeader(damaged)
			if err == nil && h.format != imagemeta.HEIF { // its decoder takes long, and is not ours
				_, err = decode(damaged, limits, true)
			}
			if err != nil {
				var refusal *Refusal
				require.ErrorAs(t, err, &refusal)
			}
		}
		for n := 0; n < len(file); n += 1 + len(file)/300 {
			check(file[:n])
		}
		for range 300 {
			damaged := bytes.Clone(file)
			damaged[rng.IntN(min(len(file), 600))] = uint8(rng.IntN(256)) // the headers above all
			check(damaged)
		}
	}
}

func TestLoadUnreadable(t *testing.T) {
	for _, path := range []string{filepath.Join(t.TempDir(), "missing.jpg"), t.TempDir()} {
		_, err := Load(path, DefaultLimits())
		var refusal *Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, "unreadable", refusal.Code)
	}
}

// Every pixel format comes out as the grey picture it was made from.
func TestLoadPixelFormats(t *testing.T) {
	grey := pattern(60, 40)
	b := grey.Bounds()
	deep, rgba, paletted := image.NewGray16(b), image.NewNRGBA(b), image.NewPaletted(b, nil)
	for v := range 256 {
		paletted.Palette = append(paletted.Palette, color.Gray{Y: uint8(v)})
	}
	for y := range 40 {
		for x := range 60 {
			v := grey.GrayAt(x, y).Y
			deep.SetGray16(x, y, color.Gray16{Y: uint16(v) * 257})
			rgba.SetNRGBA(x, y, color.NRGBA{R: v, G: v, B: v, A: 200})
			paletted.SetColorIndex(x, y, v)
		}
	}
	for _, c := range []struct {
		name string
		data []byte
		tol  float64 // grey values
	}{
		{"grey.png", encodePNG(t, grey), 0},
		{"sixteen-bit.png", encodePNG(t, deep), 1}, // rounding
		{"alpha.png", encodePNG(t, rgba), 1},       // weights of the colours, rounded
		{"palette.png", encodePNG(t, paletted), 1},
		{"grey.jpg", encodeJPEG(t, grey), 2}, // JPEG's own loss at quality 100
		{"colour.jpg", encodeJPEG(t, rgbOf(grey)), 2},
		{"with-a-film-behind.jpg", append(encodeJPEG(t, grey), "ftyp and more"...), 2},
		// The same pattern written by libwebp and, in CMYK and progressively, by libjpeg.
		{"lossless.webp", testdata(t, "pattern.webp"), 0},
		{"cmyk.jpg", testdata(t, "pattern-cmyk.jpg"), 3}, // two colour conversions
		{"progressive.jpg", testdata(t, "pattern-progressive.jpg"), 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := Load(save(t, c.name, c.data), DefaultLimits())
			require.NoError(t, err)
			require.Equal(t, [2]int{60, 40}, [2]int{p.Gray.Width, p.Gray.Height})
			for i, v := range grey.Pix {
				require.InDelta(t, float64(v), float64(p.Gray.Pix[i]), c.tol, "pixel %d", i)
				require.InDelta(t, float64(v), float64(p.Blue.Pix[i]), c.tol, "blue of pixel %d", i)
			}
			assert.Equal(t, 1, p.Orientation)
			assert.Zero(t, p.FocalPx)
		})
	}
}

// Of each colour grey has its share (ITU-R BT.601, 2.5.1) and blue what it says.
func TestLoadColours(t *testing.T) {
	colours := []color.NRGBA{{255, 0, 0, 255}, {0, 255, 0, 255}, {0, 0, 255, 255}, {163, 117, 75, 255}}
	m := image.NewNRGBA(image.Rect(0, 0, len(colours), 1))
	for x, c := range colours {
		m.SetNRGBA(x, 0, c)
	}
	p, err := Load(save(t, "colours.png", encodePNG(t, m)), DefaultLimits())
	require.NoError(t, err)
	for i, c := range colours {
		require.InDelta(t, 0.299*float64(c.R)+0.587*float64(c.G)+0.114*float64(c.B), float64(p.Gray.Pix[i]), 1)
		require.Equal(t, c.B, p.Blue.Pix[i])
	}
}

// Without the blue the grey is the same but for the rounding of the colours.
func TestLoadGrey(t *testing.T) {
	for _, path := range []string{samplePhotos + "front.jpg", "testdata/turned.heic"} {
		whole, err := Load(path, DefaultLimits())
		require.NoError(t, err)
		p, err := LoadGrey(path, DefaultLimits())
		require.NoError(t, err)
		require.NotNil(t, whole.Blue)
		require.Nil(t, p.Blue)
		require.Equal(t, whole.Camera, p.Camera)
		most := 0
		for i, v := range whole.Gray.Pix {
			most = max(most, int(v)-int(p.Gray.Pix[i]), int(p.Gray.Pix[i])-int(v))
		}
		assert.LessOrEqual(t, most, 2)
	}
}

func rgbOf(g *image.Gray) image.Image {
	m := image.NewNRGBA(g.Bounds())
	for i, v := range g.Pix {
		copy(m.Pix[4*i:], []byte{v, v, v, 255})
	}
	return m
}

func TestLoadExif(t *testing.T) {
	p, err := Load(samplePhotos+"rear.jpg", DefaultLimits())
	require.NoError(t, err)
	assert.Equal(t, 8, p.Orientation)
	assert.Equal(t, "Demo", p.Camera.Make)
	assert.Equal(t, "Phone 147", p.Camera.Model)
	assert.Equal(t, "Phone 147 main camera", p.Camera.Lens)
	assert.NotZero(t, p.Camera.FocalMm)
	// Stored in landscape, though to be shown in portrait.
	assert.Equal(t, [2]int{3264, 2448}, [2]int{p.Gray.Width, p.Gray.Height})
	assert.Equal(t, [2]int{3264, 2448}, [2]int{p.Camera.Width, p.Camera.Height})
}

func TestFocalPx(t *testing.T) {
	// A 36 mm × 24 mm sensor of 3600 × 2400 pixels has 100 pixels per mm.
	assert.InDelta(t, 5000, focalPx(50, 0, 3600, 2400), 1e-9)
	assert.Zero(t, focalPx(0, 0, 3600, 2400))
	assert.Zero(t, focalPx(50, 2, 3600, 2400))
}

// In EXIF a ratio of 0 says that digital zoom was not used (CIPA DC-008, tag
// DigitalZoomRatio, from memory), and 1 makes no difference.
func TestDigitalZoom(t *testing.T) {
	for _, c := range []struct {
		numerator, denominator uint32
		want                   float64
	}{{0, 1, 0}, {100, 100, 0}, {250, 100, 2.5}} {
		ratio, err := imagemeta.NewRat(c.numerator, c.denominator)
		require.NoError(t, err)
		var tags exifTags
		tags.set("DigitalZoomRatio", ratio)
		assert.Equal(t, c.want, tags.digitalZoom)
	}
}

// The turns by which EXIF's orientation numbers are defined: where the stored
// picture's first row and first column are seen (CIPA DC-008, table of tag 274,
// from memory).
func TestOrientationNumbers(t *testing.T) {
	sides := map[[2]int]string{{0, -1}: "top", {0, 1}: "bottom", {-1, 0}: "left", {1, 0}: "right"}
	for _, c := range []struct {
		turn        turn
		row, column string
		want        int
	}{
		{noTurn(), "top", "left", 1},
		{leftToRight(), "top", "right", 2},
		{quarterLeft().mul(quarterLeft()), "bottom", "right", 3},
		{topToBottom(), "bottom", "left", 4},
		{topToBottom().mul(quarterLeft()), "left", "top", 5},
		{quarterLeft().mul(quarterLeft()).mul(quarterLeft()), "right", "top", 6},
		{leftToRight().mul(quarterLeft()), "right", "bottom", 7},
		{quarterLeft(), "left", "bottom", 8},
	} {
		row := sides[[2]int{-c.turn[0][1], -c.turn[1][1]}]    // where stored up is seen
		column := sides[[2]int{-c.turn[0][0], -c.turn[1][0]}] // where stored left is seen
		assert.Equal(t, c.want, c.turn.orientation())
		assert.Equal(t, c.row, row, c.want)
		assert.Equal(t, c.column, column, c.want)
	}
}

// testdata/turned.heic is a part of the sample photo front.jpg, 480 × 360 pixels
// from (1048, 1647), coded by libheif with the properties irot and imir. Whatever
// these two say, the loaded picture is that part as the sensor saw it.
func TestHEICIsUnturned(t *testing.T) {
	sample, err := Load(samplePhotos+"front.jpg", DefaultLimits())
	require.NoError(t, err)
	file := testdata(t, "turned.heic")
	irot, imir := bytes.Index(file, []byte("irot"))+4, bytes.Index(file, []byte("imir"))+4
	orientations := map[int]bool{}
	for quarters := range byte(4) {
		for axis := range byte(2) {
			turned := bytes.Clone(file)
			turned[irot], turned[imir] = quarters, axis
			p, err := Load(save(t, fmt.Sprintf("turned-%d-%d.heic", quarters, axis), turned), DefaultLimits())
			require.NoError(t, err)
			require.Equal(t, [2]int{480, 360}, [2]int{p.Gray.Width, p.Gray.Height})
			difference, blue := 0.0, 0.0
			for y := range 360 {
				for x := range 480 {
					difference += math.Abs(float64(p.Gray.At(x, y)) - float64(sample.Gray.At(1048+x, 1647+y)))
					blue += math.Abs(float64(p.Blue.At(x, y)) - float64(sample.Blue.At(1048+x, 1647+y)))
				}
			}
			// Coding loss is below 3 grey values on average; a wrong turn costs above 30.
			assert.Less(t, difference/(360*480), 5.0, "%d quarters, axis %d", quarters, axis)
			assert.Less(t, blue/(360*480), 8.0, "blue: %d quarters, axis %d", quarters, axis)
			assert.Equal(t, "Phone 147", p.Camera.Model)
			orientations[p.Orientation] = true
		}
	}
	// All turns with a mirroring: four of the eight.
	assert.Equal(t, map[int]bool{2: true, 4: true, 5: true, 7: true}, orientations)
}

func TestLoadHashesTheFile(t *testing.T) {
	a, err := Load(samplePhotos+"front.jpg", DefaultLimits())
	require.NoError(t, err)
	b, err := Load(save(t, "copy.jpg", sampleFile(t)), DefaultLimits())
	require.NoError(t, err)
	c, err := Load(samplePhotos+"rear.jpg", DefaultLimits())
	require.NoError(t, err)
	assert.Equal(t, a.SHA256, b.SHA256)
	assert.NotEqual(t, a.SHA256, c.SHA256)
}
