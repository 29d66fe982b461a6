package vision

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"io"

	"github.com/bep/imagemeta"
	"github.com/gen2brain/heic"
	"golang.org/x/image/webp"
)

// pixels are a picture without its colours and its blue alone.
type pixels struct{ grey, blue *Gray }

// decodePixels decodes the whole picture, in stored orientation; its blue at least where it is
// wanted.
func decodePixels(file []byte, h header, blue bool) (p pixels, err error) {
	defer func() {
		if recover() != nil { // decoders are others'; what they choke on is no picture
			p, err = pixels{}, damaged()
		}
	}()
	switch h.format {
	case imagemeta.HEIF:
		return decodeHEIC(file, h)
	case imagemeta.PNG:
		return decodeImage(png.Decode, file, h)
	case imagemeta.WebP:
		return decodeImage(webp.Decode, file, h)
	}
	p, err = decodeJPEG(file, h, blue)
	if err == nil && hasFilledEnd(p.grey) {
		return p, truncated()
	}
	return p, err
}

// decodeImage decodes a picture of the given size with a decoder of Go's.
func decodeImage(by func(io.Reader) (image.Image, error), file []byte, h header) (pixels, error) {
	m, err := by(bytes.NewReader(file))
	if err != nil || m.Bounds().Dx() != h.width || m.Bounds().Dy() != h.height {
		return pixels{}, damaged()
	}
	return pixelsOf(m), nil
}

// blockRows is the height of the largest unit a JPEG is coded in.
const blockRows = 16

// hasFilledEnd tells the flat grey that libjpeg puts where data are missing: the
// last rows are one single value, which no photo has unless it is overexposed or
// black.
func hasFilledEnd(g *Gray) bool {
	if g.Height <= blockRows {
		return false
	}
	tail := g.Pix[(g.Height-blockRows)*g.Width:]
	v := tail[0]
	if v < 8 || v > 247 {
		return false
	}
	for _, p := range tail {
		if p != v {
			return false
		}
	}
	return true
}

func decodeHEIC(file []byte, h header) (pixels, error) {
	m, err := heic.Decode(bytes.NewReader(file))
	if err != nil {
		return pixels{}, damaged()
	}
	p := pixelsOf(m)
	return pixels{h.turn.undo(p.grey), h.turn.undo(p.blue)}, nil
}

func pixelsOf(m image.Image) pixels {
	b := m.Bounds()
	p := pixels{newGray(b.Dx(), b.Dy()), newGray(b.Dx(), b.Dy())}
	camera, ok := m.(*image.YCbCr) // as cameras write it
	for y := range b.Dy() {
		grey, blue := p.grey.Pix[y*b.Dx():][:b.Dx()], p.blue.Pix[y*b.Dx():][:b.Dx()]
		for x := range grey {
			if ok {
				c := camera.YCbCrAt(b.Min.X+x, b.Min.Y+y)
				grey[x] = c.Y
				_, _, blue[x] = color.YCbCrToRGB(c.Y, c.Cb, c.Cr)
				continue
			}
			c := color.NRGBAModel.Convert(m.At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA)
			c.A = 255 // what shines through is as it is stored
			grey[x] = color.GrayModel.Convert(c).(color.Gray).Y
			blue[x] = c.B
		}
	}
	return p
}
