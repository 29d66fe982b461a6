package report

import (
	"encoding/json"
	"io"
	"slices"

	"rimpair/measure"
	"rimpair/vision"
)

// JSON writes a result as measurement.schema.json describes it. It fails on
// numbers that are not finite rather than write half a result.
func JSON(w io.Writer, r measure.Result) error { return encode(w, English().Worded(r)) }

// RefusalJSON writes why there is no result.
func RefusalJSON(w io.Writer, refusal *vision.Refusal) error {
	return encode(w, struct {
		Refused *vision.Refusal `json:"refused"`
	}{refusal})
}

func encode(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false) // file names may hold &
	return e.Encode(v)
}

// Worded returns r as it is written: with all that it says in words as well, and with
// empty lists in place of missing ones, so that a reader finds [] and never null.
func (l *Language) Worded(r measure.Result) measure.Result {
	r.Wheels = list(r.Wheels)
	r.Budget = slices.Clone(list(r.Budget))
	for i := range r.Budget {
		b := &r.Budget[i]
		b.EnglishSource = l.source(*b).Text
	}
	r.Advice = l.advice(r.Advice)
	r.EnglishNotes = texts(l.notes(r.Notes, r.EnglishNotes))
	photos := make([]measure.PhotoResult, len(r.Photos))
	for i, p := range r.Photos {
		p.Sheets = list(p.Sheets)
		p.Wheels = list(p.Wheels)
		photos[i] = p
	}
	r.Photos = photos
	return r
}

// advice returns advice with its words.
func (l *Language) advice(of []measure.Advice) []measure.Advice {
	worded := slices.Clone(list(of))
	for i := range worded {
		a := &worded[i]
		a.EnglishText = l.worded("advice", a.Message, a.EnglishText).Text
	}
	return worded
}

// source is what a line of the budget is about.
func (l *Language) source(b measure.BudgetLine) line {
	return l.worded("source", measure.Message{Code: b.Code}, b.EnglishSource)
}

func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
