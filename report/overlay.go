package report

import (
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

func styleOf(kind measure.EdgeKind) style {
	switch kind {
	case measure.TyreOuter:
		return style{"tyre outline, outer", sky(), nil, (*pen).dot}
	case measure.TyreInner:
		return style{"tyre outline, inner", yellow(), []float64{10, 5}, (*pen).triangle}
	}
	return style{"rim against tyre", vermilion(), []float64{14, 4, 3, 4}, (*pen).diamond}
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
	p.DrawRegularPolygon(4, x, y, 6*p.unit, math.Pi/4)
}

// photoDrawing is a photo being drawn on.
type photoDrawing struct {
	*pen
	photo *Picture
}

// DrawPhoto draws on an upright photo what the measurement used of it: sheet
// corners, edge points taken and rejected, fitted circles and outlines, names and a
// legend in English.
func DrawPhoto(photo *Picture, o measure.Overlay) {
	d := newPhotoDrawing(photo, photoUnits)
	d.marks(o)
	d.names(d.labels(o), English())
	d.legend(o)
}

// photoUnits along the longer side are 2.5 pixels each at 12 megapixels.
const photoUnits = 1600

// marks draws all that needs no words.
func (d *photoDrawing) marks(o measure.Overlay) {
	d.curves(o.Curves)
	d.edges(o.Edges)
	d.corners(o.Corners)
}

// label is a word on a picture, with the pixel of its middle.
type label struct {
	x, y float64
	measure.Message
}

// labels name the sheets and the wheels.
func (d *photoDrawing) labels(o measure.Overlay) []label {
	return append(d.sheetNames(o.Corners), d.sideNames(o.Curves)...)
}

// DrawOutlines draws the wheels' outlines alone, so thick that they still show once the
// photo is made small.
func DrawOutlines(photo *Picture, curves []measure.Curve, l *Language) {
	d := newPhotoDrawing(photo, 400)
	d.curves(curves)
	d.names(d.sideNames(curves), l)
}

// names writes labels.
func (d *photoDrawing) names(labels []label, l *Language) {
	d.font(d.bold, 14)
	for _, w := range labels {
		d.label(l.worded("label", w.Message, "").Text, w.x, w.y, faded(black(), 0.8), white())
	}
}

// newPhotoDrawing has so many units along the photo's longer side.
func newPhotoDrawing(photo *Picture, units float64) *photoDrawing {
	size := photo.Upright.Rect.Size()
	return &photoDrawing{newPen(photo.Upright, math.Max(1, float64(max(size.X, size.Y))/units)), photo}
}

// at is where a stored pixel is in the drawing; ok is false where there is nothing
// to be drawn on, far outside of the photo.
func (d *photoDrawing) at(stored calib.Point) (x, y float64, ok bool) {
	p := d.photo.place(stored)
	size := d.photo.Upright.Rect.Size()
	margin := float64(size.X + size.Y)
	ok = math.Abs(p.X) < 2*margin && math.Abs(p.Y) < 2*margin // false for what is no number
	return p.X + 0.5, p.Y + 0.5, ok
}

func (d *photoDrawing) curves(curves []measure.Curve) {
	for _, c := range curves {
		for _, q := range c.Points {
			if x, y, ok := d.at(q); ok {
				d.LineTo(x, y)
			} else {
				d.NewSubPath()
			}
		}
		look := styleOf(c.Kind)
		d.outlined(look.colour, 0.8, look.dashes...)
	}
}

func (d *photoDrawing) edges(edges []measure.EdgeMark) {
	for _, kind := range kinds() {
		look := styleOf(kind)
		for _, e := range edges {
			if x, y, ok := d.at(e.At); ok && e.Used && e.Kind == kind {
				look.mark(d.pen, x, y)
			}
		}
		d.outlinedFill(look.colour)
	}
	for _, e := range edges {
		if x, y, ok := d.at(e.At); ok && !e.Used {
			d.cross(x, y)
		}
	}
	d.outlined(white(), 1)
}

func (d *photoDrawing) corners(corners []measure.CornerMark) {
	for _, c := range corners {
		if x, y, ok := d.at(c.Seen); ok {
			d.frame(x, y)
		}
	}
	d.outlined(green(), 1.2)
	for _, c := range corners {
		enlarged := calib.Point{
			X: c.Seen.X + residualScale*(c.Seen.X-c.Fitted.X),
			Y: c.Seen.Y + residualScale*(c.Seen.Y-c.Fitted.Y),
		}
		x, y, ok := d.at(c.Seen)
		tipX, tipY, tipOk := d.at(enlarged)
		if ok && tipOk {
			d.DrawLine(x, y, tipX, tipY)
		}
	}
	d.outlined(yellow(), 1)
}

// sheetNames has each sheet's number above it. Its corners span 5 of the 7 rows; the
// page ends about a row and a half beyond them.
func (d *photoDrawing) sheetNames(corners []measure.CornerMark) (names []label) {
	var boxes [calib.MaxSheets + 1]box
	for _, c := range corners {
		boxes[c.Sheet].take(d.at(c.Seen))
	}
	for sheet, b := range boxes {
		if b.points > 0 {
			names = append(names, d.above(b, 8*d.unit+0.35*(b.bottom-b.top), measure.Message{Code: "sheet", Params: measure.Params{"number": sheet}}))
		}
	}
	return names
}

// sideNames has left, right and rear above the wheels.
func (d *photoDrawing) sideNames(curves []measure.Curve) (names []label) {
	for _, side := range []string{"left", "right", "rear"} {
		var b box
		for _, c := range curves {
			if c.Side != side {
				continue
			}
			for _, q := range c.Points {
				b.take(d.at(q))
			}
		}
		if b.points > 0 {
			names = append(names, d.above(b, 0, measure.Message{Code: side + "_wheel"}))
		}
	}
	return names
}

// box bounds the points that it took.
type box struct {
	left, right, top, bottom float64
	points                   int
}

func (b *box) take(x, y float64, ok bool) {
	if !ok {
		return
	}
	if b.points == 0 {
		b.left, b.right, b.top, b.bottom = x, x, y, y
	}
	b.left, b.right = math.Min(b.left, x), math.Max(b.right, x)
	b.top, b.bottom = math.Min(b.top, y), math.Max(b.bottom, y)
	b.points++
}

// above is a name over a box, and inside the picture.
func (d *photoDrawing) above(b box, gap float64, name measure.Message) label {
	return label{(b.left + b.right) / 2, math.Max(b.top-gap-16*d.unit, 14*d.unit), name}
}
