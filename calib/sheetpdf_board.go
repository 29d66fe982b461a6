package calib

import "fmt"

// Size of the board and of what stays white around it.
const (
	boardWidthMm  = SheetColumns * SquareMm
	boardHeightMm = SheetRows * SquareMm
	// ringMm is the white ring around a marker; the board keeps as much around it.
	ringMm = (SquareMm - MarkerMm) / 2
	// edgeMm at the paper's edge is left empty: many printers cannot print there
	// (common practice, no source).
	edgeMm = 5.0
	// Above the board goes the heading, below it a ruler. Letter paper is so short
	// that the heading gets what the ruler leaves.
	headingMm = 11.0
	topMm     = edgeMm + headingMm + ringMm
	bottomMm  = ringMm + rulerMm + edgeMm
)

// sheetPage draws one reference sheet.
func (d *drawing) sheetPage(number int) {
	d.pdf.AddPage()
	x := (d.paper.WidthMm - boardWidthMm) / 2
	y := min(topMm, d.paper.HeightMm-boardHeightMm-bottomMm)
	d.board(x, y, FirstMarker(number))
	d.heading(x, y-ringMm, number)
	d.ruler(x, y+boardHeightMm+ringMm)
	d.rulerUp(x-ringMm, y+boardHeightMm)
	d.captions(x, y, number)
}

// board draws a ChArUco board with its top left at (x, y) in OpenCV's order: the
// top left square black, markers in the white squares, row by row.
func (d *drawing) board(x, y float64, marker int) {
	for row := range SheetRows {
		for column := range SheetColumns {
			left, top := x+float64(column)*SquareMm, y+float64(row)*SquareMm
			if (row+column)%2 == 0 {
				d.fill(black())
				d.box(left, top, SquareMm, SquareMm)
				continue
			}
			d.marker(left+ringMm, top+ringMm, marker)
			marker++
		}
	}
}

// marker draws a black square and its white cells over it. Neighbouring cells
// are drawn together, every run across and every run down: between two boxes
// that merely touch, a raster would show a hairline of the black below.
func (d *drawing) marker(x, y float64, id int) {
	const cell = MarkerMm / (markerSide + 2)
	d.fill(black())
	d.box(x, y, MarkerMm, MarkerMm)
	d.fill(white())
	for line := range markerSide {
		across := func(i int) bool { return markerWhite(id, i, line) }
		for _, r := range runs(across) {
			d.box(x+float64(r.from+1)*cell, y+float64(line+1)*cell, float64(r.length)*cell, cell)
		}
		down := func(i int) bool { return markerWhite(id, line, i) }
		for _, r := range runs(down) {
			d.box(x+float64(line+1)*cell, y+float64(r.from+1)*cell, cell, float64(r.length)*cell)
		}
	}
}

type run struct{ from, length int }

// runs finds the neighbouring white cells of one row or column of a marker.
func runs(white func(int) bool) []run {
	var found []run
	for i := range markerSide {
		switch {
		case !white(i):
		case white(i - 1):
			found[len(found)-1].length++
		default:
			found = append(found, run{i, 1})
		}
	}
	return found
}

// heading draws what the sheet is and the FRONT arrow, above the board's white
// margin, which begins at bottom.
func (d *drawing) heading(x, bottom float64, number int) {
	height := bottom - edgeMm
	centre := x + boardWidthMm/2
	d.fill(black())
	d.arrow(centre, bottom-height, height)
	// Capitals of Helvetica are 0.72 of the type size.
	points := func(mm float64) float64 { return mm / 0.72 * 72 / 25.4 }
	capital := 0.55 * height
	base := bottom - (height-capital)/2
	d.text(centre-0.7*height, base, points(capital), "B", right, black(), "FRONT")
	d.text(x, base, points(capital), "B", left, black(), fmt.Sprintf("SHEET %d", number))

	first := FirstMarker(number)
	for i, line := range []string{
		fmt.Sprintf("%d × %d squares of %g mm, markers of %g mm", SheetColumns, SheetRows, SquareMm, MarkerMm),
		fmt.Sprintf("DICT_4X4_100, ids %d to %d", first, first+SheetMarkers-1),
	} {
		d.text(x+boardWidthMm, bottom-height/2+float64(i)*2.6-0.4, 6.5, "", right, grey(70), line)
	}
}

// arrow draws an arrow up the page, its tip at (x, y).
func (d *drawing) arrow(x, y, height float64) {
	head, shaft := 0.5*height, 0.17*height
	neck := y + 0.52*height
	d.polygon(Point{x, y}, Point{x + head, neck}, Point{x + shaft, neck}, Point{x + shaft, y + height},
		Point{x - shaft, y + height}, Point{x - shaft, neck}, Point{x - head, neck})
}

// captions write how to lay and check a sheet: below the ruler, or up the board's
// right side where the paper is too short for that.
func (d *drawing) captions(x, y float64, number int) {
	lines := []string{placing(number), checking}
	below := y + boardHeightMm + bottomMm - edgeMm
	if d.paper.HeightMm-edgeMm-below > 8 {
		for i, line := range lines {
			d.text(x, below+5+3.4*float64(i), 7, "", left, black(), line)
		}
		return
	}
	for i, line := range lines {
		d.textUp(x+boardWidthMm+ringMm+2.4+3*float64(i), y+boardHeightMm, 7, "", left, black(), line)
	}
}

const checking = "Both rulers must measure 100 mm. If they do not, print again at 100 % (\"actual size\", no fitting to the page)."

func placing(number int) string {
	switch number {
	case 1:
		return "Lay this sheet flat on the floor before one front wheel: its middle 40 cm before the axle, a hand's breadth inward of the wheel, arrow forward."
	case 2:
		return "Lay this sheet flat on the floor behind the other front wheel: its middle 40 cm behind the axle, a hand's breadth inward of the wheel, arrow forward."
	default:
		return "Lay this sheet flat on the floor near the front wheels, where the photos show all of it, arrow forward."
	}
}

// Rulers, to check the printed scale on.
const (
	rulerMm = 2.8 // height of the longest ticks
	lineMm  = 0.2
)

// tick is how long a ruler's tick is at a millimetre, 0 for none.
func tick(mm int) float64 {
	switch {
	case mm%50 == 0:
		return rulerMm
	case mm%10 == 0:
		return 0.6 * rulerMm
	default:
		return 0
	}
}

// ruler draws a ruler to the right of (x, y), ticks downward; the middles of its
// outermost ticks are RulerMm apart.
func (d *drawing) ruler(x, y float64) {
	d.fill(black())
	d.box(x-lineMm/2, y, RulerMm+lineMm, lineMm)
	for mm := 0; mm <= RulerMm; mm += 10 {
		d.box(x+float64(mm)-lineMm/2, y, lineMm, tick(mm))
	}
	d.text(x+RulerMm+1.5, y+rulerMm, 7, "", left, black(), fmt.Sprintf("%d mm across", RulerMm))
}

// rulerUp draws a ruler up from (x, y), ticks to the left.
func (d *drawing) rulerUp(x, y float64) {
	d.fill(black())
	d.box(x-lineMm, y-RulerMm-lineMm/2, lineMm, RulerMm+lineMm)
	for mm := 0; mm <= RulerMm; mm += 10 {
		d.box(x-tick(mm), y-float64(mm)-lineMm/2, tick(mm), lineMm)
	}
	d.textUp(x-rulerMm+2, y-RulerMm-1.5, 7, "", left, black(), fmt.Sprintf("%d mm along", RulerMm))
}
