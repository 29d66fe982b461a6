package report

import (
	"fmt"
	"math"

	"rimpair/calib"
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
func (d *photoDrawing) legend(o measure.Overlay) {
	rows := d.legendRows(o)
	if len(rows) == 0 {
		return
	}
	d.font(d.regular, 15)
	width := 0.0
	for _, r := range rows {
		w, _ := d.MeasureString(r.text)
		width = math.Max(width, w)
	}
	width += (legendIndent + legendMargin) * d.unit
	height := (legendLine*float64(len(rows)) + 2*legendPad) * d.unit
	x, y := d.emptiestCorner(o, width, height)
	d.panel(x, y, width, height, faded(black(), 0.8))
	for i, r := range rows {
		middle := y + (legendPad+legendLine*(float64(i)+0.5))*d.unit
		r.draw(x+legendIndent/2*d.unit, middle)
		d.text(r.text, x+legendIndent*d.unit, middle, 0, 0.35, white())
	}
}

func (d *photoDrawing) legendRows(o measure.Overlay) []legendRow {
	var rows []legendRow
	if n := len(o.Corners); n > 0 {
		rows = append(rows, legendRow{
			fmt.Sprintf("%d sheet corners (error line × %d)", n, residualScale),
			func(x, y float64) {
				d.frame(x, y)
				d.outlined(green(), 1.2)
				d.DrawLine(x, y, x+9*d.unit, y-5*d.unit)
				d.outlined(yellow(), 1)
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
	for _, kind := range kinds() {
		look := styleOf(kind)
		if used[kind] == 0 {
			continue
		}
		rows = append(rows, legendRow{
			fmt.Sprintf("%d points: %s", used[kind], look.name),
			func(x, y float64) {
				d.DrawLine(x-18*d.unit, y, x+18*d.unit, y)
				d.outlined(look.colour, 0.8, look.dashes...)
				for dx := -10.0; dx <= 10; dx += 10 {
					look.mark(d.pen, x+dx*d.unit, y)
				}
				d.outlinedFill(look.colour)
			}})
	}
	if rejected > 0 {
		rows = append(rows, legendRow{
			fmt.Sprintf("points rejected: %d", rejected),
			func(x, y float64) {
				d.cross(x, y)
				d.outlined(white(), 1)
			}})
	}
	return rows
}

// emptiestCorner places a panel of that size, in pixels.
func (d *photoDrawing) emptiestCorner(o measure.Overlay, width, height float64) (x, y float64) {
	var marks []calib.Point
	for _, c := range o.Corners {
		marks = append(marks, d.photo.place(c.Seen))
	}
	for _, e := range o.Edges {
		marks = append(marks, d.photo.place(e.At))
	}
	size := d.photo.Upright.Rect.Size()
	near := legendMargin * d.unit
	right, bottom := float64(size.X)-width-near, float64(size.Y)-height-near
	fewest := math.MaxInt
	for _, c := range [][2]float64{{near, near}, {right, near}, {near, bottom}, {right, bottom}} {
		hidden := 0
		for _, m := range marks {
			if m.X >= c[0] && m.X <= c[0]+width && m.Y >= c[1] && m.Y <= c[1]+height {
				hidden++
			}
		}
		if hidden < fewest {
			fewest, x, y = hidden, c[0], c[1]
		}
	}
	return x, y
}
