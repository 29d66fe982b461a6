package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"slices"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report/job"
)

// JobPaper is a job's report as a list of blocks, which the HTML page and the PDF
// show alike.
type JobPaper struct {
	Language *Language
	Title    string
	Alarms   []string
	Blocks   []block
}

// block is a part of a report: a heading and what stands under it.
type block struct {
	Heading  string
	Large    []line // the result
	Lines    []line
	List     []line
	Chart    *chart
	Table    *table
	Pictures []figure
}

// line is a sentence. English says that it is in English in whatever report: what
// the measuring itself words.
type line struct {
	Text    string
	English bool
}

// table has a heading for each column; the first cell of a row heads it.
type table struct {
	Caption string
	Head    []string
	Rows    [][]cell
}

// cell is a text. Where it is a measured figure, Exact is the figure in the JSON.
type cell struct {
	Text    string
	Exact   *float64
	English bool
}

// figure is a picture with what it shows, in a frame for the words on it.
type figure struct {
	Caption       string
	JPEG          []byte
	Pixels        image.Point
	Width, Height float64
	Words         []shape
}

// JobSource is what a report is made from.
type JobSource struct {
	Job      *job.Inspected
	Version  string // of the program
	Now      time.Time
	Picture  func(job.File) ([]byte, error) // a small JPEG of the job
	Language *Language
}

// mostPictures of photos are all shown large. Of a job with more, largeOfMany measured ones
// are, of the last stage and then of the first; all others are thumbnails.
const mostPictures, largeOfMany = 12, 8

// NewJobPaper writes a job's report.
func NewJobPaper(s JobSource) *JobPaper {
	l := s.Language
	b := &paperWriter{JobSource: s, l: l, paper: &JobPaper{Language: l, Title: l.say("title")}}
	b.paper.Alarms = JobAlarms(s.Job.Job, l)
	b.result()
	b.next()
	b.about()
	b.stages()
	b.wheels()
	b.rearWheel()
	b.pictures()
	b.checks()
	b.done()
	b.notes()
	b.budget()
	b.camera()
	b.texts("head.cautions", "caution.")
	b.texts("head.reading", "read.")
	b.versions()
	b.damage()
	return b.paper
}

type paperWriter struct {
	JobSource
	l     *Language
	paper *JobPaper
}

func (b *paperWriter) add(x block) { b.paper.Blocks = append(b.paper.Blocks, x) }

func (b *paperWriter) result() {
	j, l := b.Job.Job, b.l
	first, last := j.FirstMeasurement(), j.LastMeasurement()
	x := block{Heading: l.say("head.result")}
	switch {
	case first == nil:
		x.Large = []line{{Text: l.say("result.nothing")}}
	case first == last:
		x.Large = []line{{Text: l.say("result.one", "stage", l.say("stage."+string(first.Stage)), "toe", l.toeWithHalf(first.TotalToeMm))}}
	default:
		x.Large = []line{
			{Text: l.say("result.before", "toe", l.toeWithHalf(first.TotalToeMm))},
			{Text: l.say("result.after", "toe", l.toeWithHalf(last.TotalToeMm))},
		}
		if from, to := b.entry(first), b.entry(last); !j.Spoilt(from) && !j.Spoilt(to) {
			c := j.Change(from, to)
			f := round(c.ToeMm)
			x.Lines = append(x.Lines, line{Text: l.say("result.change", "change", l.toward(c.ToeMm.Value, f.Decimals), "half", l.figure(f.Half))})
		}
	}
	for i, e := range j.Entries {
		if m := e.Measurement; m != nil && (m == first || m == last) {
			x.Large = append(x.Large, lines(l.spoilt(j, i))...)
		}
	}
	if first != nil {
		x.Lines = append(x.Lines, line{Text: l.say("result.inch", "inch", b.inches(first, last))})
	}
	t := j.Target()
	x.Lines = append(x.Lines, line{Text: l.say("result.target", "aim", l.target(t.AimMm), "low", l.target(t.LowMm), "high", l.target(t.HighMm))})
	switch next := j.Next(); {
	case len(j.SpoilingLast()) > 0: // is said already
	case last != nil && next.Task == job.Measure:
		x.Lines = append(x.Lines, line{Text: l.say("result.turned")})
	case last != nil:
		x.Lines = append(x.Lines, line{Text: verdict(job.Judge(last.TotalToeMm, t), l)})
	}
	x.Chart = newChart(j, l)
	b.add(x)
	if moved := JobLockNuts(j, l); len(moved) > 0 {
		b.add(block{Heading: l.say("head.locknuts"), List: lines(moved)})
	}
}

// entry is a measurement's number, counted from 0.
func (b *paperWriter) entry(m *job.Measurement) int {
	return slices.IndexFunc(b.Job.Entries, func(e job.Entry) bool { return e.Measurement == m })
}

const mmPerInch = 25.4

// inch is a length with half of its interval, in inches.
func (b *paperWriter) inch(q measure.Quantity) string {
	f := round(measure.Quantity{Value: q.Value / mmPerInch, Low95: q.Low95 / mmPerInch, High95: q.High95 / mmPerInch})
	if !f.Known {
		return b.l.say("unknown")
	}
	return b.l.say("inch", "inch", b.l.figure(f.Value)+" ± "+b.l.figure(f.Half))
}

// inches are the first and the last toe, in inches.
func (b *paperWriter) inches(first, last *job.Measurement) string {
	if first == last {
		return b.inch(first.TotalToeMm)
	}
	return b.inch(first.TotalToeMm) + " → " + b.inch(last.TotalToeMm)
}

func lines(texts []string) []line {
	list := make([]line, len(texts))
	for i, t := range texts {
		list[i].Text = t
	}
	return list
}

func texts(of []line) []string {
	list := make([]string, len(of))
	for i, l := range of {
		list[i] = l.Text
	}
	return list
}

func (b *paperWriter) next() {
	b.add(block{Heading: b.l.say("head.next"), Lines: lines([]string{JobNext(b.Job.Job, b.l)})})
}

func (b *paperWriter) date(t time.Time) string { return t.Local().Format(b.l.say("date")) }
func (b *paperWriter) time(t time.Time) string { return t.Local().Format(b.l.say("minute")) }

func (b *paperWriter) about() {
	j, l := b.Job.Job, b.l
	v, s := &j.Vehicle, &j.Vehicle.Steering
	x := &table{Caption: l.say("unnamed")}
	add := func(key, value string) {
		if value != "" {
			x.Rows = append(x.Rows, []cell{{Text: l.say("about." + key)}, {Text: value}})
		}
	}
	length := func(k *measure.Known) string {
		if k == nil {
			return ""
		}
		return l.figures(known(*k)) + " mm"
	}
	add("reference", j.Reference)
	add("customer", j.Customer)
	add("vehicle", v.Name)
	add("begun", b.date(j.Created))
	add("last", b.date(j.Latest()))
	if v.RimMm > 0 {
		add("rim", l.figure(fmt.Sprintf("%g mm", v.RimMm)))
	}
	add("track", length(v.TrackMm))
	add("wheelbase", length(v.WheelbaseMm))
	if s.Kind != "" {
		add("steering", l.say("steering."+string(s.Kind)))
	}
	add("thread", s.Thread)
	if s.MmPerTurn != nil {
		f := round(estimate(*s.MmPerTurn))
		add("perturn", l.figure(f.Value)+" ± "+l.figure(f.Half)+" mm")
	}
	if v.CameraProfile != nil {
		add("profile", v.CameraProfile.Name)
	}
	if r := j.RulerMm; r != [2]float64{} {
		add("ruler", l.figures(fmt.Sprintf("%g × %g mm", r[0], r[1])))
	}
	b.add(block{Heading: l.say("unnamed"), Table: x})
}

// exact is a cell for a figure of the JSON.
func (b *paperWriter) exact(text string, value float64) cell {
	return cell{Text: b.l.figure(text), Exact: &value}
}

// noBreak keeps a figure and its unit on one line.
const noBreak = "\u00a0"

// quantityCells are a quantity's value and the half of its interval.
func (b *paperWriter) quantityCells(q measure.Quantity, unit string) []cell {
	f := round(q)
	if !f.Known {
		return []cell{{Text: b.l.say("unknown")}, {}}
	}
	half := math.Max(q.High95-q.Value, q.Value-q.Low95)
	unit = strings.Replace(unit, " ", noBreak, 1)
	return []cell{b.exact(f.Value+unit, q.Value), b.exact(f.Half+unit, half)}
}

// quantities is a table of quantities, each with half of its interval, and what adds one
// under its name in the catalogue.
func (b *paperWriter) quantities(caption string) (x *table, add func(key string, q measure.Quantity, unit string)) {
	x = &table{Caption: caption, Head: b.heads("quantity", "value", "half")}
	return x, func(key string, q measure.Quantity, unit string) {
		x.Rows = append(x.Rows, append([]cell{{Text: b.l.say(key)}}, b.quantityCells(q, unit)...))
	}
}

func (b *paperWriter) stages() {
	l := b.l
	x := &table{Caption: l.say("head.stages"), Head: b.heads("stage", "when", "toe", "half", "interval", "inch", "rims", "half")}
	for i, e := range b.Job.Entries {
		m := e.Measurement
		if m == nil {
			continue
		}
		name := l.say("stage." + string(m.Stage))
		if where := valvesWords(m, l); where != "" {
			name += ", " + where
		}
		for _, c := range b.Job.Spoiling(i) {
			name += "; " + l.say("stage.spoilt", "check", l.say("check."+c.ID))
		}
		f := round(m.TotalToeMm)
		row := []cell{{Text: name}, {Text: b.time(e.At)}}
		row = append(row, b.quantityCells(m.TotalToeMm, " mm")...)
		row = append(row, cell{Text: l.say("interval", "low", l.figure(f.Low), "high", l.figure(f.High))}, cell{Text: b.inch(m.TotalToeMm)})
		row = append(row, b.quantityCells(m.RimTotalToeMm, " mm")...)
		x.Rows = append(x.Rows, row)
	}
	if len(x.Rows) > 0 {
		b.add(block{Heading: x.Caption, Table: x})
	}
}

func (b *paperWriter) heads(keys ...string) []string {
	heads := make([]string, len(keys))
	for i, k := range keys {
		heads[i] = b.l.say("col." + k)
	}
	return heads
}

// last is the last measurement's result and its stage in words; ok is false when
// it is damaged or missing.
func (b *paperWriter) last() (r measure.Result, stage string, ok bool) {
	if r, ok = b.Job.LastResult(); ok {
		stage = b.l.say("stage." + string(b.Job.LastMeasurement().Stage))
	}
	return r, stage, ok
}

func (b *paperWriter) wheels() {
	r, stage, ok := b.last()
	if !ok {
		return
	}
	l := b.l
	x, add := b.quantities(l.say("head.wheels", "stage", stage))
	for _, w := range r.Wheels {
		add("wheel.toe."+w.Side, w.ToeDeg, "°")
		add("wheel.camber."+w.Side, w.CamberDeg, "°")
	}
	add("wheel.track", r.TrackMm, " mm")
	add("wheel.front", r.GapFrontMm, " mm")
	add("wheel.rear", r.GapRearMm, " mm")
	add("wheel.hub", r.HubHeightMm, " mm")
	for _, w := range r.Runout {
		add("wheel.runout."+w.Side, w.PeakToPeakMm, " mm")
	}
	b.add(block{Heading: x.Caption, Table: x, List: append(lines(l.cautions(r)), l.notes(r.Notes, r.EnglishNotes)...)})
}

// rearWheel shows where the rear wheel rolls. Without one, the notes say that only the
// pair is known.
func (b *paperWriter) rearWheel() {
	r, stage, ok := b.last()
	if !ok || r.Rear == nil {
		return
	}
	x, add := b.quantities(b.l.say("head.rear", "stage", stage))
	add("rear.thrust", r.Rear.ThrustDeg, "°")
	add("rear.thrust_mm", r.Rear.ThrustMm, " mm")
	add("rear.lean", r.Rear.LeanDeg, "°")
	add("rear.offset", r.Rear.OffsetMm, " mm")
	add("rear.steering", r.Rear.SteeringOffDeg, "°")
	add("rear.wheelbase", r.Rear.WheelbaseMm, " mm")
	b.add(block{Heading: x.Caption, Table: x, List: lines([]string{
		b.l.say("rear.right"),
		b.l.say("rear.straight", "toe", b.l.toeWithHalf(r.Rear.StraightTotalToeMm)),
		b.l.say("rear.seen", "photo", r.Rear.Photo),
	})})
}

func (b *paperWriter) pictures() {
	var measured, others []int
	photos := 0
	for i, e := range b.Job.Entries {
		if len(e.Pictures) == 0 {
			continue
		}
		photos += len(e.Photos)
		if e.Measurement != nil {
			measured = append(measured, i)
		} else {
			others = append(others, i)
		}
	}
	large := b.large(measured, photos)
	for _, i := range measured {
		e := &b.Job.Entries[i]
		x := block{
			Heading: b.l.say("head.pictures", "stage", b.l.say("stage."+string(e.Measurement.Stage))),
			Lines:   lines([]string{b.l.say("photo.marks")}),
		}
		if large[i] < len(e.Photos) {
			x.Lines = append(x.Lines, line{Text: b.l.say("photo.small")})
		}
		var result *measure.Result
		if r, ok := b.Job.Results[i]; ok {
			result = &r
		}
		for k, f := range e.Pictures {
			show := b.Picture
			if top := k >= len(e.Photos); top && large[i] == 0 || !top && k >= large[i] {
				show = thumbnails(b.Picture)
			}
			caption := b.l.say("photo.top", "toe", b.l.toeWithHalf(e.Measurement.TotalToeMm))
			if k < len(e.Photos) {
				caption = b.marked(e.Photos[k].Name, k, result)
			}
			b.picture(&x, f, caption, show, result)
		}
		b.add(x)
	}
	x, show := block{Heading: b.l.say("head.others")}, b.Picture
	if photos > mostPictures {
		show = thumbnails(b.Picture)
		x.Lines = lines([]string{b.l.say("photo.small")})
	}
	for _, i := range others {
		e := &b.Job.Entries[i]
		for k, f := range e.Pictures {
			if k < len(e.Photos) {
				b.picture(&x, f, b.l.say("photo.note", "name", e.Photos[k].Name, "text", JobEntry(e, b.l)), show, nil)
			}
		}
	}
	if len(others) > 0 {
		b.add(x)
	}
}

// large is how many photos of each measured entry are shown large.
func (b *paperWriter) large(measured []int, photos int) map[int]int {
	left := mostPictures
	if photos > mostPictures && len(measured) > 0 {
		measured, left = slices.Compact([]int{measured[len(measured)-1], measured[0]}), largeOfMany
	}
	large := map[int]int{}
	for _, i := range measured {
		large[i] = min(left, len(b.Job.Entries[i].Photos))
		left -= large[i]
	}
	return large
}

// marked says what was used of photo k of a result.
func (b *paperWriter) marked(name string, k int, r *measure.Result) string {
	if r == nil || k >= len(r.Photos) {
		return name
	}
	photo, tyre, rim := &r.Photos[k], 0, 0
	for _, w := range photo.Wheels {
		tyre, rim = tyre+w.TyrePoints, rim+w.RimPoints
	}
	return b.l.say("photo.marked", "name", name, "corners", fmt.Sprint(photo.Corners), "tyre", fmt.Sprint(tyre), "rim", fmt.Sprint(rim))
}

// picture adds one of the job's pictures to a block, or says why it cannot.
func (b *paperWriter) picture(to *block, f job.File, caption string, show func(job.File) ([]byte, error), r *measure.Result) {
	content, err := show(f)
	var config image.Config
	if err == nil {
		config, err = jpeg.DecodeConfig(bytes.NewReader(content))
	}
	if err != nil {
		to.Lines = append(to.Lines, line{Text: b.l.say("photo.none", "name", f.File, "why", err.Error())})
		return
	}
	x := figure{Caption: caption, JPEG: content, Pixels: image.Pt(config.Width, config.Height)}
	x.Width, x.Height, x.Words = b.l.labelled(f, x.Pixels, r)
	to.Pictures = append(to.Pictures, x)
}

func (b *paperWriter) checks() {
	l := b.l
	x := &table{Caption: l.say("head.checks"), Head: b.heads("check", "found", "when", "note")}
	for _, c := range job.Checks() {
		row := []cell{{Text: l.say("check." + c.ID)}, {Text: l.say("result.open")}, {}, {}}
		if e := b.Job.LastCheck(c.ID); e != nil {
			note := e.Note
			if len(e.Photos) > 0 {
				note = strings.TrimPrefix(note+"; "+photoCount(len(e.Photos), l), "; ")
			}
			row = []cell{row[0], {Text: l.say("result." + string(e.Check.Result))}, {Text: b.time(e.At)}, {Text: note}}
		}
		x.Rows = append(x.Rows, row)
	}
	b.add(block{Heading: x.Caption, Table: x})
}

// done lists the adjustments, each with what had been advised.
func (b *paperWriter) done() {
	var list []line
	for i := range b.Job.Entries {
		e := &b.Job.Entries[i]
		if e.Adjustment == nil {
			continue
		}
		if advised := b.advised(e.Adjustment); advised.Text != "" {
			list = append(list, advised)
		}
		list = append(list, line{Text: b.time(e.At) + ": " + b.l.say("done.turned", "turned", JobEntry(e, b.l))})
	}
	if len(list) > 0 {
		b.add(block{Heading: b.l.say("head.done"), List: list})
	}
}

// advised is what had been advised before an adjustment; as it was written where the
// record has no more than the words. Empty where there was no advice.
func (b *paperWriter) advised(a *job.Adjustment) line {
	var advice rodAdvice
	if json.Unmarshal(a.Advice, &advice) != nil || advice.Summary == "" {
		return line{}
	}
	words := append([]string{advice.Summary}, advice.Instructions...)
	known := advice.Schema == measure.AdjustmentSchema
	if known {
		words = append([]string{b.l.summary(advice.RodAdvice)}, b.l.instructions(advice.RodAdvice)...)
	}
	return line{Text: b.l.say("done.advised", "summary", strings.Join(words, " ")), English: !known}
}

func (b *paperWriter) notes() {
	var list []line
	for i := range b.Job.Entries {
		e := &b.Job.Entries[i]
		if e.Check == nil && e.Adjustment == nil && e.Note != "" {
			list = append(list, line{Text: b.l.say("entry.note", "when", b.time(e.At), "text", e.Note)})
		}
	}
	if len(list) > 0 {
		b.add(block{Heading: b.l.say("head.notes"), List: list})
	}
}

func (b *paperWriter) budget() {
	r, stage, ok := b.last()
	if !ok || len(r.Budget) == 0 {
		return
	}
	l := b.l
	x := &table{Caption: l.say("head.budget", "stage", stage), Head: b.heads("source", "type", "u", "share")}
	for _, s := range r.Budget {
		source := l.source(s)
		x.Rows = append(x.Rows, []cell{
			{Text: source.Text, English: source.English}, {Text: s.Type},
			b.exact(fixed(s.ContributionMm, 3)+" mm", s.ContributionMm), b.exact(fixed(100*s.Share, 1)+" %", s.Share),
		})
	}
	b.add(block{Heading: x.Caption, Table: x, Lines: lines([]string{l.say("budget.note")})})
}

func (b *paperWriter) camera() {
	r, stage, ok := b.last()
	if !ok {
		return
	}
	l := b.l
	x := &table{Caption: l.say("head.camera", "stage", stage), Head: b.heads("photo", "size", "focal", "half", "corners", "residual")}
	for _, p := range r.Photos {
		row := []cell{{Text: p.File}, {Text: fmt.Sprintf("%d × %d px", p.Width, p.Height)}}
		row = append(row, b.quantityCells(p.FocalPx, " px")...)
		row = append(row, b.exact(fmt.Sprint(p.Corners), float64(p.Corners)), b.exact(fixed(p.CornerRmsPx, 2)+" px", p.CornerRmsPx))
		x.Rows = append(x.Rows, row)
	}
	chi := l.say("fit", "chi", l.figure(fixed(r.ChiSquarePerDof, 2)))
	b.add(block{Heading: x.Caption, Table: x, Lines: lines([]string{chi})})
}

// texts lists the catalogue's texts with a number behind the key, from 1 on.
func (b *paperWriter) texts(heading, key string) {
	x := block{Heading: b.l.say(heading)}
	for n := 1; ; n++ {
		text, ok := b.l.find(fmt.Sprint(key, n))
		if !ok {
			break
		}
		x.List = append(x.List, line{Text: text})
	}
	b.add(x)
}

func (b *paperWriter) versions() {
	l := b.l
	x := &table{Caption: l.say("head.versions"), Head: b.heads("part", "version")}
	add := func(part, version string) { x.Rows = append(x.Rows, []cell{{Text: part}, {Text: version}}) }
	add(l.say("version.program"), b.Version)
	add(l.say("version.record"), b.Job.Schema)
	if r, stage, ok := b.last(); ok {
		add(l.say("version.result", "stage", stage), r.Schema)
	}
	add(l.say("version.made"), b.time(b.Now))
	b.add(block{Heading: x.Caption, Table: x})
}

func (b *paperWriter) damage() {
	var list []line
	for _, d := range b.Job.Damage {
		said := b.l.worded("damage", measure.Message{Code: d.Code, Params: measure.Params{"file": d.File}}, d.Error())
		if what, ok := b.l.said(d.What); ok && said.English {
			said = line{Text: d.File + " " + what}
		}
		list = append(list, said)
	}
	if len(list) > 0 {
		// Beside the alarms, before the result.
		b.paper.Blocks = slices.Insert(b.paper.Blocks, 0, block{Heading: b.l.say("head.damage"), List: list})
	}
}
