package calib

import (
	"fmt"
	"math"
)

// planPage shows where to lay the two sheets of the standard plan and where to
// hold the phone: the vehicle from above and, below it in the same scale, from
// its right side.
func (d *drawing) planPage() {
	d.pdf.AddPage()
	const margin, scale = 15.0, 1.0 / 20
	width := d.paper.WidthMm - 2*margin
	d.text(margin, 20, 20, "B", left, black(), "Two sheets on the floor, two to four photos")
	d.text(margin, 26, 9.5, "", left, grey(70), "Everything lies still from the first photo to the last: the vehicle, its steering, the sheets.")

	// What Letter paper is too short for goes between the parts.
	gap := (d.paper.HeightMm - 275) / 4
	heading := func(y float64, words string) { d.text(margin, y, 9.5, "B", left, black(), words) }
	place := func(y float64) view { return view{d, Point{margin + width/2 + 8, y}, scale} }
	heading(35+gap, "From above")
	place(74 + gap).fromAbove()
	heading(121+2*gap, "From the side")
	place(207 + 2*gap).fromSide()
	d.steps(margin, 216+3*gap, width)
}

// view draws in millimetres of the real scene: u forward, which is to the right
// on the page, and v up the page.
type view struct {
	d      *drawing
	origin Point
	scale  float64
}

func (w view) at(u, v float64) Point {
	return Point{w.origin.X + u*w.scale, w.origin.Y - v*w.scale}
}

func (w view) polygon(c colour, uv ...Point) {
	page := make([]Point, len(uv))
	for i, p := range uv {
		page[i] = w.at(p.X, p.Y)
	}
	w.d.fill(c)
	w.d.polygon(page...)
}

// bar draws a round-ended line through points, width in mm of the scene.
func (w view) bar(c colour, width float64, uv ...Point) {
	pdf := w.d.pdf
	w.d.stroke(c)
	pdf.SetLineWidth(width * w.scale)
	pdf.SetLineCapStyle("round")
	pdf.SetLineJoinStyle("round")
	for i, p := range uv {
		q := w.at(p.X, p.Y)
		if i == 0 {
			pdf.MoveTo(q.X, q.Y)
		} else {
			pdf.LineTo(q.X, q.Y)
		}
	}
	pdf.DrawPath("D")
}

// ring draws a circle of the given line width.
func (w view) ring(c colour, u, v, radius, width float64) {
	p := w.at(u, v)
	w.d.stroke(c)
	w.d.pdf.SetLineWidth(width * w.scale)
	w.d.pdf.Circle(p.X, p.Y, radius*w.scale, "D")
}

func (w view) disc(c colour, u, v, radius float64) {
	p := w.at(u, v)
	w.d.fill(c)
	w.d.pdf.Circle(p.X, p.Y, radius*w.scale, "F")
}

// label writes beside a place in the scene.
func (w view) label(u, v, align float64, c colour, words string) {
	p := w.at(u, v)
	w.d.text(p.X, p.Y, 8.5, "", align, c, words)
}

// dimension draws a measuring line with end ticks.
func (w view) dimension(a, b Point) {
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	tu, tv := -(b.Y-a.Y)/length*28, (b.X-a.X)/length*28
	w.bar(black(), 5, a, b)
	for _, p := range []Point{a, b} {
		w.bar(black(), 5, Point{p.X - tu, p.Y - tv}, Point{p.X + tu, p.Y + tv})
	}
}

// The vehicle and the plan, in mm: u forward of the front axle, v to the left or
// up. The vehicle is an invented one of usual size.
const (
	halfTrack   = 400.0
	wheelRadius = 250.0
	tyreWidth   = 47.0
	rearAxle    = -1050.0
	crankAxle   = 640.0
	sheetAhead  = 400.0 // from the axle to the sheet's middle
	sheetInward = 90.0  // from the wheel to the sheet's middle: a hand's breadth
	paperWidth  = 210.0
	paperHeight = 297.0
)

// phone is where a photo is taken from, and its letter.
type phone struct {
	letter, word           string
	forward, left, upwards float64
}

// standpoints are the places of the photos that the plan asks for: front, rear,
// above, and two opposite corners.
func standpoints() []phone {
	return []phone{
		{"A", "front", 1200, 0, 1200},
		{"B", "rear", -1450, 0, 1500},
		{"C", "above", 0, 0, 1750},
		{"D", "corner", 1000, -620, 1200},
		{"D", "corner", -950, 620, 1200},
	}
}

func (w view) fromAbove() {
	for _, p := range standpoints() {
		if p.forward != 0 {
			w.wedge(Point{p.forward, p.left}, Point{0, 0})
		}
	}
	w.sheet(sheetAhead, -(halfTrack - sheetInward), 1)
	w.sheet(-sheetAhead, halfTrack-sheetInward, 2)
	w.vehicleFromAbove()

	for _, side := range []float64{-1, 1} { // sheet 1 before the right wheel, 2 behind the left
		ahead, wheel, middleOf := -side*sheetAhead, side*halfTrack, side*(halfTrack-sheetInward)
		w.dimension(Point{0, side * 590}, Point{ahead, side * 590})
		w.label(ahead/2, side*655-25, middle, black(), "40 cm")
		beyond := ahead - side*320
		w.bar(grey(120), 5, Point{-side * wheelRadius, wheel}, Point{beyond - side*40, wheel})
		w.dimension(Point{beyond, middleOf}, Point{beyond, wheel})
		align := left
		if side > 0 {
			align = right
		}
		w.label(beyond+side*28, middleOf-side*60-20, align, black(), "a hand's breadth")
	}
	for _, p := range standpoints() {
		w.phone(Point{p.forward, p.left}, p.letter)
		if p.forward == 0 {
			w.label(p.forward+95, p.left+50, left, accent(), p.word)
			continue
		}
		w.label(p.forward, p.left-155, middle, accent(), p.word)
	}
}

// sheet draws one with its middle at (u, v), its arrow forward.
func (w view) sheet(u, v float64, number int) {
	w.polygon(grey(120), box(u, v, paperHeight+10, paperWidth+10)...)
	w.polygon(white(), box(u, v, paperHeight, paperWidth)...)
	for row := range SheetRows {
		for column := range SheetColumns {
			if (row+column)%2 == 0 {
				c := Point{
					X: u - 10 + (SheetRows/2.0-0.5-float64(row))*SquareMm,
					Y: v + (SheetColumns/2.0-0.5-float64(column))*SquareMm,
				}
				w.polygon(black(), box(c.X, c.Y, SquareMm, SquareMm)...)
			}
		}
	}
	tip := u + paperHeight/2 + 105
	w.polygon(black(), Point{tip, v}, Point{tip - 50, v + 42}, Point{tip - 50, v + 14}, Point{tip - 90, v + 14},
		Point{tip - 90, v - 14}, Point{tip - 50, v - 14}, Point{tip - 50, v - 42})
	p := w.at(u, v+math.Copysign(paperWidth/2+65, v)-20)
	w.d.text(p.X, p.Y, 8.5, "B", middle, black(), fmt.Sprintf("Sheet %d", number))
}

// box is a rectangle of the scene around its middle.
func box(u, v, du, dv float64) []Point {
	return []Point{{u - du/2, v - dv/2}, {u + du/2, v - dv/2}, {u + du/2, v + dv/2}, {u - du/2, v + dv/2}}
}

func (w view) vehicleFromAbove() {
	tyre, frame, seat := grey(60), grey(135), grey(205)
	w.bar(frame, 45, Point{rearAxle, 0}, Point{crankAxle, 0})
	w.bar(frame, 38, Point{0, -halfTrack + 70}, Point{60, 0}, Point{0, halfTrack - 70})
	w.bar(seat, 330, Point{-250, 0}, Point{-620, 0})
	w.bar(grey(90), 16, Point{crankAxle, -70}, Point{crankAxle, 70})
	w.bar(grey(90), 16, Point{crankAxle, 70}, Point{crankAxle + 150, 70})
	w.bar(grey(90), 16, Point{crankAxle, -70}, Point{crankAxle - 150, -70})
	w.bar(grey(90), 50, Point{crankAxle + 150, 90}, Point{crankAxle + 150, 150})
	w.bar(grey(90), 50, Point{crankAxle - 150, -90}, Point{crankAxle - 150, -150})
	for _, wheel := range []Point{{0, halfTrack}, {0, -halfTrack}, {rearAxle, 0}} {
		w.bar(frame, 26, Point{wheel.X, wheel.Y - 55}, Point{wheel.X, wheel.Y + 55})
		reach := wheelRadius - tyreWidth/2
		w.bar(tyre, tyreWidth, Point{wheel.X - reach, wheel.Y}, Point{wheel.X + reach, wheel.Y})
	}
}

func (w view) fromSide() {
	w.bar(grey(170), 6, Point{-1800, 0}, Point{1500, 0})
	for _, p := range standpoints()[:3] {
		w.wedge(Point{p.forward, p.upwards}, Point{0, wheelRadius})
	}
	w.vehicleFromSide()
	for i, words := range []string{"chest high, 1.2 m", "eye level, 1.5 m", "arms up, 1.7 m"} {
		p := standpoints()[i]
		at := Point{p.forward, p.upwards}
		w.phone(at, p.letter)
		if i == 2 {
			w.label(at.X+110, at.Y-25, left, black(), words)
			continue
		}
		w.dimension(Point{at.X, 0}, Point{at.X, at.Y - 110})
		w.label(at.X-30, 700, right, black(), words)
	}
}

func (w view) vehicleFromSide() {
	frame, seat := grey(135), grey(205)
	w.bar(frame, 45, Point{rearAxle, wheelRadius}, Point{-500, 230}, Point{0, 230}, Point{crankAxle, 400})
	w.bar(seat, 60, Point{-120, 330}, Point{-430, 290}, Point{-860, 850})
	w.ring(grey(90), crankAxle, 400, 85, 14)
	w.bar(grey(90), 16, Point{crankAxle - 130, 330}, Point{crankAxle + 130, 470})
	w.bar(grey(90), 40, Point{crankAxle + 110, 470}, Point{crankAxle + 150, 470})
	w.bar(grey(90), 40, Point{crankAxle - 150, 330}, Point{crankAxle - 110, 330})
	for _, u := range []float64{0, rearAxle} {
		w.ring(grey(60), u, wheelRadius, wheelRadius-tyreWidth/2, tyreWidth)
		w.ring(grey(150), u, wheelRadius, 195, 12)
		w.disc(frame, u, wheelRadius, 30)
	}
	for _, u := range []float64{sheetAhead, -sheetAhead} {
		w.bar(black(), 14, Point{u - paperHeight/2, 8}, Point{u + paperHeight/2, 8})
	}
}

// wedge shows where a phone looks.
func (w view) wedge(from, to Point) {
	const length, halfAngleRad = 340, 0.48
	heading := math.Atan2(to.Y-from.Y, to.X-from.X)
	ray := func(turnRad float64) Point {
		return Point{from.X + length*math.Cos(heading+turnRad), from.Y + length*math.Sin(heading+turnRad)}
	}
	w.polygon(colour{252, 228, 214}, from, ray(halfAngleRad), ray(-halfAngleRad))
}

// phone marks where to hold it.
func (w view) phone(at Point, letter string) {
	w.disc(white(), at.X, at.Y, 88)
	w.disc(accent(), at.X, at.Y, 75)
	p := w.at(at.X, at.Y)
	w.d.text(p.X, p.Y+1.45, 11, "B", middle, white(), letter)
}

// steps writes what to do, in two columns.
func (d *drawing) steps(x, y, width float64) {
	columns := [][]string{
		{
			"1  Print at 100 % (\"actual size\"). Both rulers on every sheet must then measure 100 mm.",
			"2  Stand the vehicle on flat, firm floor, steering straight ahead, with the rider's weight on it if the front is sprung.",
			"3  Lay sheet 1 before one front wheel and sheet 2 behind the other, both arrows forward. Tape them down flat.",
		},
		{
			"4  Photos A (front) and B (rear) are needed. C (straight down) and D (from two opposite corners, just outside a wheel) narrow the result.",
			"5  Both front wheels and both sheets whole in every photo, as large as fits. One phone, held wide, no zoom, no flash.",
			"6  rimpair measure front.jpg rear.jpg above.jpg",
		},
	}
	const gap = 8.0
	w := (width - gap) / 2
	for i, column := range columns {
		d.pdf.SetXY(x+float64(i)*(w+gap), y)
		for _, step := range column {
			d.step(w, step)
		}
	}
}

// step writes one numbered paragraph below the last one.
func (d *drawing) step(width float64, words string) {
	const indent, line, gap = 6.0, 4.2, 1.8
	x, y := d.pdf.GetXY()
	d.text(x, y+3.2, 9.5, "B", left, accent(), words[:1])
	d.pdf.SetFont("Helvetica", "", 9.5)
	d.pdf.SetTextColor(0, 0, 0)
	d.pdf.SetXY(x+indent, y)
	d.pdf.MultiCell(width-indent, line, d.ansi(words[3:]), "", "L", false)
	d.pdf.SetXY(x, d.pdf.GetY()+gap)
}
