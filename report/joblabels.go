package report

import (
	"image"
	"unicode/utf8"

	"rimpair/measure"
	"rimpair/report/job"
)

// This file puts words on a job's pictures. Their pixels hold none, so that a report can
// be in any language, and so that the words stay sharp however large they are shown.

// labelLines are a label's words; figures are those of the result, and without it there
// are none.
func (l *Language) labelLines(m measure.Message, r *measure.Result) []string {
	gap := func(of func(*measure.Result) measure.Quantity) []string {
		if r == nil {
			return nil
		}
		return []string{l.say("label."+m.Code, "gap", l.withUnit(of(r), " mm"))}
	}
	switch m.Code {
	case "front_gap":
		return gap(func(r *measure.Result) measure.Quantity { return r.GapFrontMm })
	case "rear_gap":
		return gap(func(r *measure.Result) measure.Quantity { return r.GapRearMm })
	case "left_angles":
		return l.angles("left", r)
	case "right_angles":
		return l.angles("right", r)
	}
	if w := l.worded("label", m, ""); !w.English { // else of a newer program
		return []string{w.Text}
	}
	return nil
}

// angles are a wheel's toe and camber under its name.
func (l *Language) angles(side string, r *measure.Result) []string {
	lines := []string{l.say("label." + side + "_wheel")}
	if r == nil {
		return lines
	}
	for _, w := range r.Wheels {
		if w.Side == side {
			lines = append(lines, l.say("label.toe", "angle", l.withUnit(w.ToeDeg, "°")), l.say("label.camber", "angle", l.withUnit(w.CamberDeg, "°")))
		}
	}
	return lines
}

// placed are labels as the record keeps them, for a picture of that size.
func placed(labels []label, size image.Point) []job.Label {
	list := make([]job.Label, len(labels))
	for i, w := range labels {
		list[i] = job.Label{At: [2]float64{w.x / float64(size.X), w.y / float64(size.Y)}, Message: w.Message}
	}
	return list
}

// Sizes of the words on a picture, whose longer side is labelFrame.
const (
	labelFrame = 1000.0
	labelSize  = 24.0
	labelLine  = 29.0
	// widestLetter is the width of letters, on the average of a word in a wide font, in
	// their size: words are moved so far that they do not leave the picture.
	widestLetter = 0.65
)

// labelled is a picture with its labels as shapes in a frame.
func (l *Language) labelled(f job.File, size image.Point, r *measure.Result) (width, height float64, shapes []shape) {
	scale := labelFrame / float64(max(size.X, size.Y))
	width, height = scale*float64(size.X), scale*float64(size.Y)
	for _, w := range f.Labels {
		lines := l.labelLines(w.Message, r)
		longest := 0
		for _, text := range lines {
			longest = max(longest, utf8.RuneCountInString(text))
		}
		half := min(widestLetter*labelSize*float64(longest), width) / 2
		x := min(max(w.At[0]*width, half), width-half)
		top := w.At[1]*height - labelLine*float64(len(lines)-1)/2 + 0.35*labelSize
		for i, text := range lines {
			shapes = append(shapes, shape{
				Kind: "text", X: x, Y: top + labelLine*float64(i), Anchor: "middle", Text: text, Bold: i == 0, Size: labelSize, Halo: true,
			})
		}
	}
	return width, height, shapes
}
