package report

import (
	"image"
	"image/color"
	"math"

	"git.sr.ht/~sbinet/gg"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"

	"rimpair/calib"
)

// Colours that people with any kind of colour vision tell apart (Okabe and Ito,
// "Color universal design", 2008). None carries a meaning alone.
func black() color.RGBA     { return color.RGBA{0x12, 0x16, 0x1c, 0xff} }
func white() color.RGBA     { return color.RGBA{0xff, 0xff, 0xff, 0xff} }
func sky() color.RGBA       { return color.RGBA{0x56, 0xb4, 0xe9, 0xff} }
func yellow() color.RGBA    { return color.RGBA{0xf0, 0xe4, 0x42, 0xff} }
func vermilion() color.RGBA { return color.RGBA{0xd5, 0x5e, 0x00, 0xff} }
func green() color.RGBA     { return color.RGBA{0x00, 0x9e, 0x73, 0xff} }

// faded is c with an opacity from 0 to 1, alpha-premultiplied.
func faded(c color.RGBA, opacity float64) color.RGBA {
	part := func(v uint8) uint8 { return uint8(math.Round(float64(v) * opacity)) }
	return color.RGBA{part(c.R), part(c.G), part(c.B), part(c.A)}
}

// pen draws on a picture, in sizes that are multiples of one unit.
type pen struct {
	*gg.Context
	unit          float64
	regular, bold *opentype.Font
}

func newPen(on *image.RGBA, unit float64) *pen {
	return &pen{gg.NewContextForRGBA(on), unit, parse(goregular.TTF), parse(gobold.TTF)}
}

// parse reads one of the fonts that are compiled in, which cannot fail.
func parse(ttf []byte) *opentype.Font {
	f, err := opentype.Parse(ttf)
	if err != nil {
		panic(err)
	}
	return f
}

// font chooses a face of that many units.
func (p *pen) font(f *opentype.Font, units float64) {
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: units * p.unit, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic(err) // only for a size that is not a number
	}
	p.SetFontFace(face)
}

// path makes a polyline the current path. Pixel centres are at whole numbers.
func (p *pen) path(points []calib.Point) {
	for i, q := range points {
		if i == 0 {
			p.MoveTo(q.X+0.5, q.Y+0.5)
			continue
		}
		p.LineTo(q.X+0.5, q.Y+0.5)
	}
}

// outlined strokes the current path in a colour, on a dark edge that shows it on
// any ground.
func (p *pen) outlined(c color.Color, units float64, dashes ...float64) {
	scaled := make([]float64, len(dashes))
	for i, d := range dashes {
		scaled[i] = d * p.unit
	}
	p.SetLineCap(gg.LineCapButt)
	p.SetLineJoin(gg.LineJoinRound)
	p.SetDash(scaled...)
	p.SetColor(faded(black(), 0.75))
	p.SetLineWidth((units + 1) * p.unit)
	p.StrokePreserve()
	p.SetColor(c)
	p.SetLineWidth(units * p.unit)
	p.Stroke()
	p.SetDash()
}

// outlinedFill fills the current path in a colour with a thin dark edge.
func (p *pen) outlinedFill(c color.Color) {
	p.SetColor(faded(black(), 0.85))
	p.SetLineWidth(0.8 * p.unit)
	p.StrokePreserve()
	p.SetColor(c)
	p.Fill()
}

// text writes with its anchor (0 to 1, right and up) at a place.
func (p *pen) text(s string, x, y, ax, ay float64, c color.Color) {
	p.SetColor(c)
	p.DrawStringAnchored(s, x, y, ax, ay)
}

// panel is a rounded ground for text, in pixels.
func (p *pen) panel(x, y, w, h float64, c color.Color) {
	p.DrawRoundedRectangle(x, y, w, h, 4*p.unit)
	p.SetColor(c)
	p.Fill()
}

// label writes on a panel of its own, centred at a place.
func (p *pen) label(s string, x, y float64, ground, ink color.Color) {
	w, h := p.MeasureString(s)
	pad := 0.45 * h
	p.panel(x-w/2-pad, y-h/2-pad/2, w+2*pad, h+pad, ground)
	p.text(s, x, y, 0.5, 0.35, ink)
}
