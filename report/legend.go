package report

import (
	"fmt"
	"image"
	"math"

	"rimpair/measure"
)

// legendRow is one kind of mark: how it looks and what it means.
type legendRow struct {
	text string
	draw func(x, y float64)
}

// Layout of the legend, in units.
const (
	legendLine   = 24.0
	legendIndent = 56.0
	legendMargin = 12.0
	legendPad    = 4.0
)

// legend explains the marks that occur, in the corner of the picture that holds
// the fewest of them.
func (p *pen) legend(photo *Picture, o measure.Overlay) {
	rows := p.legendRows(o)
	if len(rows) == 0 {
		return
	}
	p.font(p.regular, 15)
	width := 0.0
	for _, r := range rows {
		w, _ := p.MeasureString(r.text)
		width = math.Max(width, w)
	}
	width += (legendIndent + legendMargin) * p.unit
	height := (legendLine*float64(len(rows)) + 2*legendPad) * p.unit
	x, y := p.emptiestCorner(photo, o, width, height)
	p.panel(x, y, width, height, faded(black(), 0.8))
	for i, r := range rows {
		middle := y + (legendPad+legendLine*(float64(i)+0.5))*p.unit
		r.draw(x+legendIndent/2*p.unit, middle)
		p.text(r.text, x+legendIndent*p.unit, middle, 0, 0.35, white())
	}
}

func (p *pen) legendRows(o measure.Overlay) []legendRow {
	var rows []legendRow
	if n := len(o.Corners); n > 0 {
		rows = append(rows, legendRow{
			fmt.Sprintf("%d sheet corners (error line × %d)", n, residualScale),
			func(x, y float64) {
				p.frame(x, y)
				p.outlined(green(), 1.2)
				p.DrawLine(x, y, x+9*p.unit, y-5*p.unit)
				p.outlined(yellow(), 1)
			}})
	}
	used, rejected := map[measure.EdgeKind]int{}, 0
	for _, e := range o.Edges {
		if e.Used {
			used[e.Kind]++
		} else {
			rejected++
		}
	}
	looks := styles()
	for _, kind := range kinds() {
		look := looks[kind]
		if used[kind] == 0 {
			continue
		}
		rows = append(rows, legendRow{
			fmt.Sprintf("%d points: %s", used[kind], look.name),
			func(x, y float64) {
				p.DrawLine(x-18*p.unit, y, x+18*p.unit, y)
				p.outlined(look.colour, 0.8, look.dashes...)
				for dx := -10.0; dx <= 10; dx += 10 {
					look.mark(p, x+dx*p.unit, y)
				}
				p.outlinedFill(look.colour)
			}})
	}
	if rejected > 0 {
		rows = append(rows, legendRow{
			fmt.Sprintf("%d points rejected", rejected),
			func(x, y float64) {
				p.cross(x, y)
				p.outlined(white(), 1)
			}})
	}
	return rows
}

// emptiestCorner places a panel of that size, in pixels.
func (p *pen) emptiestCorner(photo *Picture, o measure.Overlay, width, height float64) (x, y float64) {
	size := photo.Upright.Rect.Size()
	near := legendMargin * p.unit
	far := image.Pt(size.X-int(width+near), size.Y-int(height+near))
	fewest := math.MaxInt
	for _, c := range [][2]float64{{near, near}, {float64(far.X), near}, {near, float64(far.Y)}, {float64(far.X), float64(far.Y)}} {
		hidden := 0
		count := func(mx, my float64) {
			if mx >= c[0] && mx <= c[0]+width && my >= c[1] && my <= c[1]+height {
				hidden++
			}
		}
		for _, m := range o.Corners {
			at := photo.place(m.Seen)
			count(at.X, at.Y)
		}
		for _, e := range o.Edges {
			at := photo.place(e.At)
			count(at.X, at.Y)
		}
		if hidden < fewest {
			fewest, x, y = hidden, c[0], c[1]
		}
	}
	return x, y
}
