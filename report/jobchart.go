package report

import (
	"math"
	"slices"

	"rimpair/measure"
	"rimpair/report/job"
)

// The chart of a job: one line a measurement, its interval as a bar against the
// hatched band of the target. It is made of plain shapes in mm, which the page and
// the PDF draw alike, and needs no colour.

const (
	chartWidthMm = 178.0 // between the margins of A4 and of Letter
	chartLabelMm = 52.0  // left of the plot
	chartValueMm = 50.0  // right of it
	chartRowMm   = 8.5
	chartHeadMm  = 6.0
	chartFootMm  = 13.0
	chartTextMm  = 3.4 // size of letters, about 10 points
)

// shape is a part of a chart, in mm, or of a picture, in its frame.
type shape struct {
	Kind         string // "line", "band", "dot", "ring", "diamond", "text"
	X, Y, X2, Y2 float64
	Width        float64 // of the line; of a dot or ring its radius
	Dashed       bool
	Text, Anchor string  // "start", "middle", "end"
	Bold, Halo   bool    // Halo: readable on any ground
	Size         float64 // of letters
}

// chart is a drawing with its words.
type chart struct {
	Title, Description, Key string
	WidthMm, HeightMm       float64
	Shapes                  []shape
}

// newChart draws all measurements of a job; nil when there is none.
func newChart(j *job.Job, l *Language) *chart {
	var rows []*job.Measurement
	var spoilt []bool
	for i, e := range j.Entries {
		if e.Measurement != nil {
			rows, spoilt = append(rows, e.Measurement), append(spoilt, j.Spoilt(i))
		}
	}
	if len(rows) == 0 {
		return nil
	}
	target := j.Target()
	low, high := l.target(target.LowMm), l.target(target.HighMm)
	c := &chart{
		Title: l.say("head.chart"), Description: l.say("chart.desc", "low", low, "high", high), Key: l.say("chart.key"),
		WidthMm: chartWidthMm, HeightMm: chartHeadMm + chartRowMm*float64(len(rows)) + chartFootMm,
	}
	a := newAxis(rows, target)
	bottom := chartHeadMm + chartRowMm*float64(len(rows))
	c.add(shape{Kind: "band", X: a.at(target.LowMm), Y: chartHeadMm, X2: a.at(target.HighMm), Y2: bottom})
	for i, m := range rows {
		mark := "dot"
		switch {
		case spoilt[i]:
			mark = "cross"
		case i == len(rows)-1:
			mark = "diamond"
		case i == 0:
			mark = "ring"
		}
		c.row(m, l, a, chartHeadMm+chartRowMm*(float64(i)+0.5), mark)
	}
	c.axis(a, l, bottom)
	if slices.Contains(spoilt, true) {
		c.Key += " " + l.say("chart.spoilt")
	}
	return c
}

func (c *chart) add(s shape) { c.Shapes = append(c.Shapes, s) }

func (c *chart) text(x, y float64, anchor, text string, bold bool) {
	c.add(shape{Kind: "text", X: x, Y: y, Anchor: anchor, Text: text, Bold: bold, Size: chartTextMm})
}

func (c *chart) row(m *job.Measurement, l *Language, a axis, y float64, mark string) {
	c.text(0, y+1.2, "start", l.say("stage."+string(m.Stage)), mark == "diamond")
	c.text(chartWidthMm, y+1.2, "end", l.toeWithHalf(m.TotalToeMm), mark == "diamond")
	q := m.TotalToeMm
	x1, x2 := a.at(q.Low95), a.at(q.High95)
	c.add(shape{Kind: "line", X: x1, Y: y, X2: x2, Y2: y, Width: 0.7, Dashed: mark == "cross"})
	for _, x := range []float64{x1, x2} {
		c.add(shape{Kind: "line", X: x, Y: y - 1.6, X2: x, Y2: y + 1.6, Width: 0.7})
	}
	if mark == "cross" { // the toe means nothing
		const r = 1.6
		x := a.at(q.Value)
		c.add(shape{Kind: "line", X: x - r, Y: y - r, X2: x + r, Y2: y + r, Width: 0.9})
		c.add(shape{Kind: "line", X: x - r, Y: y + r, X2: x + r, Y2: y - r, Width: 0.9})
		return
	}
	c.add(shape{Kind: mark, X: a.at(q.Value), Y: y, Width: 1.5})
}

func (c *chart) axis(a axis, l *Language, y float64) {
	c.add(shape{Kind: "line", X: a.at(a.low), Y: y, X2: a.at(a.high), Y2: y, Width: 0.3})
	for _, v := range a.ticks() {
		x := a.at(v)
		c.add(shape{Kind: "line", X: x, Y: y, X2: x, Y2: y + 1.4, Width: 0.3})
		c.text(x, y+5, "middle", l.figure(fixed(v, a.decimals)), false)
	}
	if a.low < 0 {
		x := a.at(0)
		c.add(shape{Kind: "line", X: x, Y: chartHeadMm, X2: x, Y2: y, Width: 0.3, Dashed: true})
		c.text(a.at(a.low), y+10, "start", "← "+l.say("chart.out"), false)
	}
	c.text((a.at(a.low)+a.at(a.high))/2, y+10, "middle", "mm", false)
	c.text(a.at(a.high), y+10, "end", l.say("chart.in")+" →", false)
}

// axis is the scale of a chart.
type axis struct {
	low, high, step float64
	decimals        int
}

// newAxis has room for all intervals and the target, in steps of 1, 2 or 5 times a
// power of ten.
func newAxis(rows []*job.Measurement, target measure.Target) axis {
	low, high := math.Min(0, target.LowMm), target.HighMm
	for _, m := range rows {
		low, high = math.Min(low, m.TotalToeMm.Low95), math.Max(high, m.TotalToeMm.High95)
	}
	const most = 8 // steps
	a := axis{step: math.Pow10(int(math.Floor(math.Log10((high - low) / most))))}
	for _, factor := range []float64{1, 2, 5, 10} {
		if (high-low)/(factor*a.step) <= most {
			a.step *= factor
			break
		}
	}
	a.low, a.high = a.step*math.Floor(low/a.step), a.step*math.Ceil(high/a.step)
	a.decimals = max(0, -int(math.Floor(math.Log10(a.step)+1e-9)))
	return a
}

func (a axis) at(mm float64) float64 {
	return chartLabelMm + (mm-a.low)/(a.high-a.low)*(chartWidthMm-chartLabelMm-chartValueMm)
}

func (a axis) ticks() []float64 {
	var list []float64
	for i := 0; ; i++ {
		v := a.low + float64(i)*a.step
		if v > a.high+a.step/2 {
			return list
		}
		list = append(list, v)
	}
}
