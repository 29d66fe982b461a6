package bare

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/bep/imagemeta"
	"github.com/disintegration/imaging"
	"github.com/gen2brain/heic"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/webp"
)

// Every container of a file holds one of these, and no output may.
const secret = "Secretville"

var secretNumber = []byte{0x52, 0x12, 0x34, 0x56} // in the GPS directory

// tellingTIFF is EXIF data with what measuring needs and with places: in the GPS
// directory, in words, and in a maker's note.
func tellingTIFF() []byte {
	const header = 8
	secretField := func(tag uint16) field { return textField(tag, secret) }
	latitude := bytes.Repeat(append(bytes.Clone(secretNumber), 0, 0, 0, 1), 3)
	first := func(exif, gps int) []field {
		return []field{
			secretField(0x010e), textField(tagMake, "Demo"), textField(tagModel, "Phone 101"), shortField(tagOrientation, 6),
			secretField(0x013b), longField(tagExifIFD, exif), longField(0x8825, gps),
		}
	}
	exifAt := header + len(directory(header, first(0, 0)))
	exif := []field{
		secretField(0x9003), rationalField(tagFocal, [2]uint32{543, 100}), secretField(0x927c), secretField(0x9286),
		shortField(tagFocal35, 26), textField(tagLensModel, "Main 1.8"),
	}
	gpsAt := exifAt + len(directory(exifAt, exif))
	gps := []field{textField(1, "N"), {2, typeRational, 3, latitude}, textField(3, "E"), {4, typeRational, 3, latitude}}
	tiff := append([]byte("MM\x00*\x00\x00\x00\x08"), directory(header, first(exifAt, gpsAt))...)
	tiff = append(tiff, directory(exifAt, exif)...)
	return append(tiff, directory(gpsAt, gps)...)
}

const xmp = `<?xpacket begin=""?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" photoshop:City="` + secret + `"/></rdf:RDF></x:xmpmeta>`

// side of the picture, in pixels: HEVC codes squares of it, whole.
const side = 64

func picture() image.Image {
	img := image.NewRGBA(image.Rect(0, 0, side, side))
	for y := range side {
		for x := range side {
			img.Set(x, y, color.RGBA{uint8(4 * x), uint8(4 * y), uint8(x * y), 255})
		}
	}
	return img
}

func segment(marker byte, payload string) []byte {
	b := binary.BigEndian.AppendUint16([]byte{0xFF, marker}, uint16(2+len(payload)))
	return append(b, payload...)
}

// tellingJPEG has a place in every kind of segment that may hold one, and a second
// picture and a film behind its end.
func tellingJPEG(t testing.TB) []byte {
	var plain bytes.Buffer
	require.NoError(t, jpeg.Encode(&plain, picture(), nil))
	out := []byte{0xFF, markerSOI}
	out = append(out, segment(0xE0, "JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00")...)
	out = append(out, segment(0xE1, "Exif\x00\x00"+string(tellingTIFF()))...)
	out = append(out, segment(0xE1, "http://ns.adobe.com/xap/1.0/\x00"+xmp)...)
	out = append(out, segment(0xE1, "http://ns.adobe.com/xmp/extension/\x00"+secret)...)
	out = append(out, segment(0xE2, "MPF\x00"+secret)...)
	out = append(out, segment(0xE2, "ICC_PROFILE\x00\x01\x01profile")...)
	out = append(out, segment(0xED, "Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x10\x1c\x02\x5a\x00\x0b"+secret)...)
	out = append(out, segment(0xEB, secret)...)
	out = append(out, segment(0xFE, secret)...)
	out = append(out, plain.Bytes()[2:]...)
	out = append(out, plain.Bytes()...)
	return append(out, "....ftypmp42"+secret...)
}

func tellingPNG(t testing.TB) []byte {
	var plain bytes.Buffer
	require.NoError(t, png.Encode(&plain, picture()))
	const head = len(pngSignature) + 25 // signature and IHDR
	out := bytes.Clone(plain.Bytes()[:head])
	out = append(out, pngChunk("eXIf", tellingTIFF())...)
	out = append(out, pngChunk("tEXt", []byte("Comment\x00"+secret))...)
	out = append(out, pngChunk("iTXt", []byte("XML:com.adobe.xmp\x00\x00\x00\x00\x00"+xmp))...)
	out = append(out, pngChunk("tIME", []byte{7, 234, 1, 2, 3, 4, 5})...)
	out = append(out, plain.Bytes()[head:]...)
	return append(out, secret...)
}

// plain.webp was made with libwebp's encoder from picture, without metadata.
func tellingWebP(t testing.TB) []byte {
	plain := testdata(t, "plain.webp")
	chunk := func(kind, data string) []byte {
		b := binary.LittleEndian.AppendUint32([]byte(kind), uint32(len(data)))
		return append(append(b, data...), make([]byte, len(data)%2)...)
	}
	out := []byte("RIFF\x00\x00\x00\x00WEBP")
	out = append(out, chunk("VP8X", "\x0c\x00\x00\x00\x3f\x00\x00\x3f\x00\x00")...) // EXIF, XMP; the sides less 1
	out = append(out, plain[12:]...)
	out = append(out, chunk("EXIF", string(tellingTIFF()))...)
	out = append(out, chunk("XMP ", xmp)...)
	out = append(out, chunk("ABCD", secret)...)
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return append(out, secret...)
}

// telling.heic was made with libheif's encoder from tellingJPEG.
func tellingHEIC(t testing.TB) []byte {
	file := testdata(t, "telling.heic")
	require.Contains(t, string(file), secret, "the test data tell a place")
	require.True(t, bytes.Contains(file, secretNumber))
	return file
}

func testdata(t testing.TB, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	return content
}

func tags(t *testing.T, file []byte, format imagemeta.ImageFormat) map[string]any {
	t.Helper()
	found := map[string]any{}
	_, err := imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(file), ImageFormat: format, Sources: imagemeta.EXIF | imagemeta.XMP | imagemeta.IPTC,
		HandleTag: func(tag imagemeta.TagInfo) error { found[tag.Tag] = tag.Value; return nil },
	})
	require.NoError(t, err)
	return found
}

// Only what measuring needs is left, and the pixels are the same.
func TestPhotoTellsNoPlace(t *testing.T) {
	tests := []struct {
		name   string
		file   []byte
		format imagemeta.ImageFormat
		decode func([]byte) (image.Image, error)
	}{
		{"JPEG", tellingJPEG(t), imagemeta.JPEG, func(b []byte) (image.Image, error) { return jpeg.Decode(bytes.NewReader(b)) }},
		{"PNG", tellingPNG(t), imagemeta.PNG, func(b []byte) (image.Image, error) { return png.Decode(bytes.NewReader(b)) }},
		{"WebP", tellingWebP(t), imagemeta.WebP, func(b []byte) (image.Image, error) { return webp.Decode(bytes.NewReader(b)) }},
		{"HEIC", tellingHEIC(t), imagemeta.HEIF, func(b []byte) (image.Image, error) { return heic.Decode(bytes.NewReader(b)) }},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			before := tags(t, test.file, test.format)
			require.Contains(t, before, "GPSLatitude", "there was something to remove")
			if test.name != "PNG" { // whose XMP this reader does not look for
				require.Contains(t, before, "City", "in XMP as well")
			}
			bare, err := Photo(test.file)
			require.NoError(t, err)
			assert.NotContains(t, string(bare), secret)
			assert.False(t, bytes.Contains(bare, secretNumber))

			after := tags(t, bare, test.format)
			kept := []string{"Make", "Model", "FocalLength", "FocalLengthIn35mmFormat", "LensModel"}
			for _, tag := range kept {
				require.Contains(t, after, tag)
				assert.Equal(t, before[tag], after[tag], tag)
			}
			for tag := range after {
				assert.Contains(t, append(kept, "Orientation", "ExifOffset", "ExifVersion", "ThumbnailOffset"), tag)
			}
			assert.Equal(t, before["Orientation"], after["Orientation"])

			want, err := test.decode(test.file)
			require.NoError(t, err)
			got, err := test.decode(bare)
			require.NoError(t, err)
			assert.Equal(t, imaging.Clone(want), imaging.Clone(got))

			again, err := Photo(bare)
			require.NoError(t, err)
			assert.Equal(t, bare, again)
		})
	}
}

// What measuring uses is read back as it was written.
func TestCameraStays(t *testing.T) {
	want := camera{orientation: 6, focal35Mm: 26, make: "Demo", model: "Phone 101", lens: "Main 1.8", focalMm: [2]uint32{543, 100}, digitalZoom: [2]uint32{5, 2}}
	file := append([]byte{0xFF, markerSOI}, segment(0xE1, "Exif\x00\x00"+string(want.tiff()))...)
	assert.Equal(t, want, readCamera(append(file, 0xFF, 0xD9), imagemeta.JPEG))
}

// The picture's own segments stay, byte for byte.
func TestJPEGKeepsItsColours(t *testing.T) {
	bare, err := Photo(tellingJPEG(t))
	require.NoError(t, err)
	assert.Contains(t, string(bare), "ICC_PROFILE")
	assert.Contains(t, string(bare), "JFIF")
	assert.Equal(t, []byte{0xFF, markerEOI}, bare[len(bare)-2:])
}

// Boxes that a picture is not made of are emptied in their places.
func TestHEICUnknownBoxes(t *testing.T) {
	file := tellingHEIC(t)
	bare, err := Photo(append(bytes.Clone(file), "\x00\x00\x00\x23uuid0123456789abcdef"+secret...)) // 8 + 16 + 11 bytes
	require.NoError(t, err)
	assert.Len(t, bare, len(file)+35)
	assert.NotContains(t, string(bare), secret)
}

// Whatever is cut off or wrong: an error or a picture without a place, never a panic.
func TestDamagedFilesTellNothing(t *testing.T) {
	clean := func(b []byte) bool { return !bytes.Contains(b, []byte(secret)) && !bytes.Contains(b, secretNumber) }
	for name, file := range map[string][]byte{"JPEG": tellingJPEG(t), "PNG": tellingPNG(t), "WebP": tellingWebP(t), "HEIC": tellingHEIC(t)} {
		for end := 0; end < len(file); end += 1 + end/500 {
			bare, err := Photo(file[:end])
			assert.True(t, err != nil || clean(bare), "%s cut at %d", name, end)
		}
		for at := 0; at < len(file); at += 1 + len(file)/700 {
			spoilt := bytes.Clone(file)
			spoilt[at] ^= 0xFF
			bare, err := Photo(spoilt)
			assert.True(t, err != nil || clean(bare), "%s spoilt at %d", name, at)
		}
	}
}

func FuzzPhoto(f *testing.F) {
	for _, file := range [][]byte{tellingJPEG(f), tellingPNG(f), tellingWebP(f), tellingHEIC(f)} {
		f.Add(file)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		if bare, err := Photo(file); err == nil {
			_, err := Photo(bare)
			assert.NoError(t, err)
		}
	})
}

func TestOtherFilesAreRefused(t *testing.T) {
	for _, file := range []string{"", "text", "%PDF-1.4", "GIF89a"} {
		_, err := Photo([]byte(file))
		assert.Error(t, err, file)
	}
}
