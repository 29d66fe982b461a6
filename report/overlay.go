package report

import (
	"fmt"
	"image/color"
	"math"

	"rimpair/calib"
	"rimpair/measure"
)

// residualScale enlarges the reprojection errors of the sheet corners, tenths of
// a pixel, so that they can be seen.
const residualScale = 100

// style is how one kind of edge looks: colour, pattern of the fitted line, and
// shape of the points.
type style struct {
	name   string
	colour color.RGBA
	dashes []float64 // in units, none for a solid line
	mark   func(p *pen, x, y float64)
}

func styles() map[measure.EdgeKind]style {
	return map[measure.EdgeKind]style{
		measure.TyreOuter: {"tyre outline, outer", sky(), nil, (*pen).dot},
		measure.TyreInner: {"tyre outline, inner", yellow(), []float64{10, 5}, (*pen).triangle},
		measure.RimCircle: {"rim against tyre", vermilion(), []float64{14, 4, 3, 4}, (*pen).diamond},
	}
}

// kinds lists the kinds of edge in the order of the legend.
func kinds() []measure.EdgeKind {
	return []measure.EdgeKind{measure.TyreOuter, measure.TyreInner, measure.RimCircle}
}

// Marks, as paths to be filled or stroked.
func (p *pen) dot(x, y float64)      { p.DrawCircle(x, y, 1.4*p.unit) }
func (p *pen) triangle(x, y float64) { p.DrawRegularPolygon(3, x, y, 2.1*p.unit, 0) }
func (p *pen) diamond(x, y float64)  { p.DrawRegularPolygon(4, x, y, 2.2*p.unit, math.Pi/4) }

func (p *pen) cross(x, y float64) {
	r := 2.5 * p.unit
	p.DrawLine(x-r, y-r, x+r, y+r)
	p.DrawLine(x-r, y+r, x+r, y-r)
}

// frame is a hollow diamond that leaves the corner inside it visible.
func (p *pen) frame(x, y float64) {
	r := 6 * p.unit
	p.DrawRegularPolygon(4, x, y, r, math.Pi/4)
}

// DrawPhoto draws on an upright photo what the measurement used of it: sheet
// corners, edge points taken and rejected, fitted circles and outlines, and a
// legend.
func DrawPhoto(photo *Picture, o measure.Overlay) {
	size := photo.Upright.Rect.Size()
	p := newPen(photo.Upright, math.Max(1, float64(max(size.X, size.Y))/1600))
	place := func(q calib.Point) (x, y float64) {
		at := photo.place(q)
		return at.X + 0.5, at.Y + 0.5
	}
	p.curves(photo, o.Curves)
	p.edges(o.Edges, place)
	p.corners(o.Corners, place)
	p.sides(photo, o.Curves)
	p.legend(photo, o)
}

func (p *pen) curves(photo *Picture, curves []measure.Curve) {
	looks := styles()
	for _, c := range curves {
		upright := make([]calib.Point, len(c.Points))
		for i, q := range c.Points {
			upright[i] = photo.place(q)
		}
		p.path(upright)
		p.outlined(looks[c.Kind].colour, 0.8, looks[c.Kind].dashes...)
	}
}

func (p *pen) edges(edges []measure.EdgeMark, place func(calib.Point) (x, y float64)) {
	looks := styles()
	for _, kind := range kinds() {
		look := looks[kind]
		for _, e := range edges {
			if e.Used && e.Kind == kind {
				x, y := place(e.At)
				look.mark(p, x, y)
			}
		}
		p.outlinedFill(look.colour)
	}
	for _, e := range edges {
		if !e.Used {
			p.cross(place(e.At))
		}
	}
	p.outlined(white(), 1)
}

func (p *pen) corners(corners []measure.CornerMark, place func(calib.Point) (x, y float64)) {
	for _, c := range corners {
		p.frame(place(c.Seen))
	}
	p.outlined(green(), 1.2)
	for _, c := range corners {
		x, y := place(c.Seen)
		fx, fy := place(c.Fitted)
		p.DrawLine(x, y, x+residualScale*(x-fx), y+residualScale*(y-fy))
	}
	p.outlined(yellow(), 1)
	p.sheetNames(corners, place)
}

// sheetNames writes each sheet's number above it. Its corners span 5 of the 7
// rows; the page ends about a row and a half beyond them.
func (p *pen) sheetNames(corners []measure.CornerMark, place func(calib.Point) (x, y float64)) {
	var boxes [calib.MaxSheets + 1]box
	for _, c := range corners {
		boxes[c.Sheet].take(place(c.Seen))
	}
	for sheet, b := range boxes {
		p.nameAbove(fmt.Sprintf("sheet %d", sheet), b, 8*p.unit+0.35*(b.bottom-b.top))
	}
}

// sides writes left and right above the wheels.
func (p *pen) sides(photo *Picture, curves []measure.Curve) {
	for _, side := range []string{"left", "right"} {
		var b box
		for _, c := range curves {
			if c.Side != side {
				continue
			}
			for _, q := range c.Points {
				at := photo.place(q)
				b.take(at.X, at.Y)
			}
		}
		p.nameAbove(side+" wheel", b, 0)
	}
}

// box bounds the points that it took.
type box struct {
	left, right, top, bottom float64
	points                   int
}

func (b *box) take(x, y float64) {
	if b.points == 0 {
		b.left, b.right, b.top, b.bottom = x, x, y, y
	}
	b.left, b.right = math.Min(b.left, x), math.Max(b.right, x)
	b.top, b.bottom = math.Min(b.top, y), math.Max(b.bottom, y)
	b.points++
}

// nameAbove writes a name over a box, and inside the picture.
func (p *pen) nameAbove(name string, b box, gap float64) {
	if b.points == 0 {
		return
	}
	p.font(p.bold, 14)
	y := math.Max(b.top-gap-16*p.unit, 14*p.unit)
	p.label(name, (b.left+b.right)/2, y, faded(black(), 0.8), white())
}
