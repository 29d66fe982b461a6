package report

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"strconv"

	"rimpair/calib"
	"rimpair/measure"
)

// TopView draws the view from above in the horizontal plane at hub height. Photos
// are added one after the other, so that only one need be in memory.
type TopView struct {
	result measure.Result
	rims   [2]measure.RimLine
	ground *ground
	head   float64 // pixels above the plane
	l      *Language
}

// NewTopView prepares the view of a measurement. It fails when there are not two
// wheels or the rims' lines make no sense.
func NewTopView(m measure.Measurement) (*TopView, error) {
	if n := len(m.Result.Wheels); n != len(m.Top.Rims) {
		return nil, fmt.Errorf("a view from above shows two wheels, not %d", n)
	}
	g, err := newGround(m.Top)
	if err != nil {
		return nil, err
	}
	return &TopView{result: m.Result, rims: m.Top.Rims, ground: g, head: headPx, l: English()}, nil
}

// Add lays photo i (in the order of Result.Photos) on the plane.
func (v *TopView) Add(i int, photo *Picture) { v.ground.add(i, photo) }

// Layout around the plane, in pixels.
const (
	headPx    = 200 // title
	axisPx    = 76  // numbers of the grid, left
	borderPx  = 28  // right
	footPx    = 96  // numbers of the grid and caption
	numbersPx = 44  // numbers alone
)

// Grid, in mm.
const (
	fineMm   = 10
	strongMm = 100
)

func paper() color.RGBA { return color.RGBA{0xfb, 0xfa, 0xf6, 0xff} }
func card() color.RGBA  { return faded(white(), 0.92) }

// Draw returns the finished picture, worded in English.
func (v *TopView) Draw() *image.RGBA {
	d, img := v.plane(headPx, footPx)
	for _, w := range d.labels() {
		d.write(w)
	}
	d.title()
	d.emblem()
	return img
}

// Plain returns the picture without words, and these.
func (v *TopView) Plain() (*image.RGBA, []label) {
	d, img := v.plane(borderPx, numbersPx)
	return img, d.labels()
}

// plane draws what lies in the plane.
func (v *TopView) plane(head, foot int) (*topDrawing, *image.RGBA) {
	v.head = float64(head)
	g := v.ground
	img := image.NewRGBA(image.Rect(0, 0, axisPx+g.width+borderPx, head+g.height+foot))
	draw.Draw(img, img.Rect, image.NewUniform(paper()), image.Point{}, draw.Src)
	g.paint(img, axisPx, head)
	d := &topDrawing{pen: newPen(img, 1), TopView: v}
	d.grid()
	d.rimLines()
	d.gaps()
	return d, img
}

// at is where a place of the vehicle frame is in the finished picture.
func (v *TopView) at(place [2]float64) calib.Point {
	x, y := v.ground.local(place)
	return v.spot(x, y)
}

// spot is where a place of the drawn frame is in the finished picture.
func (v *TopView) spot(x, y float64) calib.Point {
	p := v.ground.pixel(x, y)
	return calib.Point{X: p.X + axisPx, Y: p.Y + v.head}
}

// topDrawing is a top view being drawn.
type topDrawing struct {
	*pen
	*TopView
}

func (d *topDrawing) grid() {
	d.lines(fineMm, 1, faded(black(), 0.10))
	d.lines(strongMm, 1.6, faded(black(), 0.42))
	w, h := d.ground.halfWidthMm, d.ground.halfHeightMm
	d.font(d.regular, 20)
	for _, x := range multiples(strongMm, w) {
		p := d.spot(x, -h)
		d.text(gridNumber(x), p.X+0.5, p.Y+24, 0.5, 0.35, black())
	}
	for _, y := range multiples(strongMm, h) {
		p := d.spot(-w, y)
		d.text(gridNumber(y), p.X-10, p.Y+0.5, 1, 0.35, black())
	}
	d.DrawRectangle(axisPx, d.head, float64(d.ground.width), float64(d.ground.height))
	d.SetColor(black())
	d.SetLineWidth(2)
	d.Stroke()
}

// multiples lists the multiples of step from -limit to limit.
func multiples(step, limit float64) []float64 {
	var m []float64
	for v := -step * math.Floor(limit/step); v <= limit; v += step {
		m = append(m, v)
	}
	return m
}

func gridNumber(mm float64) string { return strconv.FormatFloat(mm, 'f', 0, 64) }

func (d *topDrawing) lines(stepMm, width float64, c color.Color) {
	w, h := d.ground.halfWidthMm, d.ground.halfHeightMm
	for _, x := range multiples(stepMm, w) {
		d.path([]calib.Point{d.spot(x, -h), d.spot(x, h)})
	}
	for _, y := range multiples(stepMm, h) {
		d.path([]calib.Point{d.spot(-w, y), d.spot(w, y)})
	}
	d.SetColor(c)
	d.SetLineWidth(width)
	d.Stroke()
}

// overhangMm is how far a rim's line is drawn beyond its points.
const overhangMm = 90

// rimLines are bold on white, so that without colours they are not taken for the grid's.
func (d *topDrawing) rimLines() {
	for _, stroke := range []struct {
		colour color.RGBA
		width  float64
	}{{white(), 11}, {vermilion(), 5}} {
		for _, rim := range d.rims {
			front, rear := d.at(rim.Front), d.at(rim.Rear)
			x, y := unit(front.X-rear.X, front.Y-rear.Y)
			x, y = x*overhangMm*topPxPerMm, y*overhangMm*topPxPerMm
			d.path([]calib.Point{{X: front.X + x, Y: front.Y + y}, {X: rear.X - x, Y: rear.Y - y}})
		}
		d.outlined(stroke.colour, stroke.width)
	}
}

// gaps draws the two distances that a tape would read.
func (d *topDrawing) gaps() {
	left, right := d.rims[0], d.rims[1]
	d.dimension(d.at(left.Front), d.at(right.Front))
	d.dimension(d.at(left.Rear), d.at(right.Rear))
}

// labels are the gaps, and each wheel's angles outside of it.
func (d *topDrawing) labels() []label {
	left, right := d.rims[0], d.rims[1]
	middle := func(a, b calib.Point, code string) label {
		return label{(a.X + b.X) / 2, (a.Y + b.Y) / 2, measure.Message{Code: code}}
	}
	list := []label{
		middle(d.at(left.Front), d.at(right.Front), "front_gap"),
		middle(d.at(left.Rear), d.at(right.Rear), "rear_gap"),
	}
	for i, code := range []string{"left_angles", "right_angles"} {
		x, _ := d.ground.local(d.rims[i].Front)
		p := d.spot(x+math.Copysign(140, x), 0)
		list = append(list, label{p.X, p.Y, measure.Message{Code: code}})
	}
	return list
}

// write writes a gap, or a wheel's angles.
func (d *topDrawing) write(w label) {
	lines := d.l.labelLines(w.Message, &d.result)
	if len(lines) == 1 {
		d.font(d.bold, 26)
		d.label(lines[0], w.x, w.y, card(), black())
		return
	}
	d.panel(w.x-115, w.y-62, 230, 124, card())
	d.font(d.bold, 24)
	for i, text := range lines {
		d.text(text, w.x, w.y-36+float64(i)*36, 0.5, 0.35, black())
		d.font(d.regular, 20)
	}
}

func (d *topDrawing) dimension(a, b calib.Point) {
	d.path([]calib.Point{a, b})
	d.outlined(sky(), 4)
	d.arrow(a, b)
	d.arrow(b, a)
	for _, p := range []calib.Point{a, b} {
		d.DrawCircle(p.X+0.5, p.Y+0.5, 5)
	}
	d.outlinedFill(white())
}

// arrow draws a head at tip, seen from tail.
func (d *topDrawing) arrow(tip, tail calib.Point) {
	const gap, length, half = 5, 26, 8
	dx, dy := unit(tail.X-tip.X, tail.Y-tip.Y)
	x, y := tip.X+0.5+gap*dx, tip.Y+0.5+gap*dy
	d.MoveTo(x, y)
	d.LineTo(x+length*dx-half*dy, y+length*dy+half*dx)
	d.LineTo(x+length*dx+half*dy, y+length*dy-half*dx)
	d.ClosePath()
	d.outlinedFill(sky())
}

func (d *topDrawing) title() {
	r := d.result
	d.font(d.bold, 56)
	d.text(d.l.toeValue(r.TotalToeMm), axisPx, 64, 0, 0, black())
	d.font(d.regular, 30)
	runout := "no run-out had to be assumed"
	if runoutPart(r) > 0 {
		runout = "an assumed run-out of the rims included"
	}
	d.text(d.l.toeSpread(r.TotalToeMm)+", "+runout, axisPx, 116, 0, 0, black())
	d.font(d.regular, 24)
	d.text("Total toe at the rim: rear gap minus front gap, at hub height "+d.l.withUnit(r.HubHeightMm, " mm"),
		axisPx, 164, 0, 0, black())
	d.font(d.regular, 20)
	d.text("Seen from above, front of the vehicle at the top. True to scale only in the horizontal plane at "+
		"hub height (grid 10 mm): what lies above or below it is displaced, and broken where two photos meet.", axisPx, float64(headPx+d.ground.height+74), 0, 0, black())
}

// emblem draws the two rims' lines with their slant enlarged, in the title's right
// corner: at true scale a toe of a few millimetres hardly shows.
func (d *topDrawing) emblem() {
	const half, apart = 52.0, 110.0 // of the bars' length, between the bars
	var slant [2]float64            // sideways for one forward
	for i, rim := range d.rims {
		fx, fy := d.ground.local(rim.Front)
		rx, ry := d.ground.local(rim.Rear)
		slant[i] = (fx - rx) / (fy - ry)
	}
	factor := enlargement(math.Max(math.Abs(slant[0]), math.Abs(slant[1])))
	right, middle := float64(axisPx+d.ground.width), 84.0
	for i, s := range slant {
		x := right - apart - 40 + float64(i)*apart
		s *= factor
		d.SetLineCapRound()
		d.SetColor(black())
		d.SetLineWidth(14)
		d.DrawLine(x-s*half, middle+half, x+s*half, middle-half)
		d.Stroke()
		d.SetColor(faded(black(), 0.4))
		d.SetLineWidth(2)
		d.SetDash(6, 5)
		d.DrawLine(x, middle+half+6, x, middle-half-6)
		d.Stroke()
		d.SetDash()
	}
	d.font(d.regular, 20)
	d.text("front", right-apart/2-40, 26, 0.5, 0.35, black())
	d.text("toe drawn "+gridNumber(factor)+" times larger", right, 178, 1, 0, black())
}

// enlargement is the largest round factor that keeps a slant below 0.3, about 17°.
func enlargement(slant float64) float64 {
	best := 1.0
	for _, f := range []float64{2, 5, 10, 20, 50} {
		if f*slant < 0.3 {
			best = f
		}
	}
	return best
}
