package vision

import (
	"bytes"
	"image"
	"image/color"

	"github.com/bep/imagemeta"
	"github.com/gen2brain/heic"
)

// pixels are a picture without its colours and its blue alone.
type pixels struct{ grey, blue *Gray }

// decoder decodes a JPEG, PNG or WebP file of the given size, ignoring its orientation tag.
type decoder func(file []byte, width, height int) (pixels, error)

func decodeGreyAlone(file []byte, width, height int) (p pixels, err error) {
	p.grey, err = decodeGrey(file, width, height)
	return p, err
}

// decodePixels decodes the whole picture, in stored orientation.
func decodePixels(file []byte, h header, by decoder) (p pixels, err error) {
	defer func() {
		if recover() != nil { // decoders are others'; what they choke on is no picture
			p, err = pixels{}, damaged()
		}
	}()
	if h.format == imagemeta.HEIF {
		return decodeHEIC(file, h)
	}
	p, err = by(file, h.width, h.height)
	if err != nil {
		return p, damaged()
	}
	if h.format == imagemeta.JPEG && hasFilledEnd(p.grey) {
		return p, truncated()
	}
	return p, nil
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
			c := m.At(b.Min.X+x, b.Min.Y+y)
			grey[x] = color.GrayModel.Convert(c).(color.Gray).Y
			_, _, deep, _ := c.RGBA()
			blue[x] = uint8(deep >> 8)
		}
	}
	return p
}
