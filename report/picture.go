package report

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	_ "image/jpeg" // the formats a photo may have
	_ "image/png"
	"io"
	"os"

	"github.com/disintegration/imaging"
	"github.com/gen2brain/heic"
	_ "golang.org/x/image/webp"

	"rimpair/calib"
)

// Picture is a photo in colour, turned upright, to be drawn on.
type Picture struct {
	Upright       *image.RGBA
	orientation   int // EXIF orientation that was undone, 1 to 8
	width, height int // as stored
}

// OpenPicture reads a photo's file. The orientation is vision.Photo.Orientation:
// that of the pixels in which the photo was measured.
func OpenPicture(path string, orientation int) (*Picture, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	img, turned, err := decode(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if turned {
		return newUpright(imaging.Clone(img), orientation), nil
	}
	return NewPicture(img, orientation), nil
}

// decode reads a picture and tells whether the decoder has turned it upright
// already, as that of HEIC does. HEIC has more brands than its decoder announces.
func decode(f io.ReadSeeker) (img image.Image, turned bool, err error) {
	img, format, err := image.Decode(f)
	if !errors.Is(err, image.ErrFormat) {
		return img, format == "heic", err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, false, err
	}
	img, err = heic.Decode(f)
	return img, true, err
}

// NewPicture copies a picture in stored pixels and turns the copy upright.
func NewPicture(stored image.Image, orientation int) *Picture {
	return newUpright(turn(stored, orientation), orientation)
}

func newUpright(upright *image.NRGBA, orientation int) *Picture {
	p := &Picture{Upright: opaque(upright), orientation: orientation}
	p.width, p.height = upright.Rect.Dx(), upright.Rect.Dy()
	if orientation >= 5 { // a quarter turn
		p.width, p.height = p.height, p.width
	}
	return p
}

// turn undoes an EXIF orientation (JEITA CP-3451, tag 0x0112). The library's
// angles run anticlockwise.
func turn(stored image.Image, orientation int) *image.NRGBA {
	switch orientation {
	case 2:
		return imaging.FlipH(stored)
	case 3:
		return imaging.Rotate180(stored)
	case 4:
		return imaging.FlipV(stored)
	case 5:
		return imaging.Transpose(stored)
	case 6:
		return imaging.Rotate270(stored)
	case 7:
		return imaging.Transverse(stored)
	case 8:
		return imaging.Rotate90(stored)
	}
	return imaging.Clone(stored)
}

// opaque lays a picture on white. One without transparency keeps its memory:
// the two colour models then agree byte for byte.
func opaque(p *image.NRGBA) *image.RGBA {
	if p.Opaque() {
		return &image.RGBA{Pix: p.Pix, Stride: p.Stride, Rect: p.Rect}
	}
	out := image.NewRGBA(p.Rect)
	draw.Draw(out, out.Rect, image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.Draw(out, out.Rect, p, p.Rect.Min, draw.Over)
	return out
}

// place returns where a stored pixel is in the upright picture.
func (p *Picture) place(stored calib.Point) calib.Point {
	right, bottom := float64(p.width-1), float64(p.height-1)
	x, y := stored.X, stored.Y
	switch p.orientation {
	case 2:
		return calib.Point{X: right - x, Y: y}
	case 3:
		return calib.Point{X: right - x, Y: bottom - y}
	case 4:
		return calib.Point{X: x, Y: bottom - y}
	case 5:
		return calib.Point{X: y, Y: x}
	case 6:
		return calib.Point{X: bottom - y, Y: x}
	case 7:
		return calib.Point{X: bottom - y, Y: right - x}
	case 8:
		return calib.Point{X: y, Y: right - x}
	}
	return stored
}

// sample returns the colour at a place in the upright picture, interpolated
// between four pixels; ok is false outside.
func (p *Picture) sample(at calib.Point) (c [3]float32, ok bool) {
	b := p.Upright.Rect
	if !(at.X >= 0 && at.Y >= 0 && at.X < float64(b.Dx()-1) && at.Y < float64(b.Dy()-1)) {
		return c, false
	}
	x, y := int(at.X), int(at.Y)
	fx, fy := float32(at.X-float64(x)), float32(at.Y-float64(y))
	upper := p.Upright.Pix[y*p.Upright.Stride+4*x:]
	lower := p.Upright.Pix[(y+1)*p.Upright.Stride+4*x:]
	for i := range c {
		u := float32(upper[i])*(1-fx) + float32(upper[i+4])*fx
		l := float32(lower[i])*(1-fx) + float32(lower[i+4])*fx
		c[i] = u*(1-fy) + l*fy
	}
	return c, true
}
