package vision

import (
	"bytes"
	"image"
	"image/color"

	"github.com/bep/imagemeta"
	"github.com/gen2brain/heic"
)

// decodePixels decodes the whole picture to grey, in stored orientation.
func decodePixels(file []byte, h header) (g *Gray, err error) {
	defer func() {
		if recover() != nil { // decoders are others'; what they choke on is no picture
			g, err = nil, damaged()
		}
	}()
	if h.format == imagemeta.HEIF {
		return decodeHEIC(file, h)
	}
	g, err = decodeGrey(file, h.width, h.height)
	if err != nil {
		return nil, damaged()
	}
	if h.format == imagemeta.JPEG && hasFilledEnd(g) {
		return nil, truncated()
	}
	return g, nil
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

func decodeHEIC(file []byte, h header) (*Gray, error) {
	m, err := heic.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, damaged()
	}
	return h.turn.undo(greyOf(m)), nil
}

func greyOf(m image.Image) *Gray {
	b := m.Bounds()
	g := &Gray{Width: b.Dx(), Height: b.Dy(), Pix: make([]uint8, b.Dx()*b.Dy())}
	for y := range g.Height {
		row := g.Pix[y*g.Width : (y+1)*g.Width]
		switch m := m.(type) {
		case *image.YCbCr:
			copy(row, m.Y[y*m.YStride:])
		case *image.Gray:
			copy(row, m.Pix[y*m.Stride:])
		default:
			for x := range row {
				row[x] = color.GrayModel.Convert(m.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y
			}
		}
	}
	return g
}
