package report

import (
	"encoding/json"
	"io"

	"rimpair/measure"
	"rimpair/vision"
)

// JSON writes a result as measurement.schema.json describes it. It fails on
// numbers that are not finite rather than write half a result.
func JSON(w io.Writer, r measure.Result) error { return encode(w, withLists(r)) }

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

// withLists returns r with empty lists in place of missing ones, so that a reader
// finds [] and never null.
func withLists(r measure.Result) measure.Result {
	r.Wheels = list(r.Wheels)
	r.Budget = list(r.Budget)
	r.Advice = list(r.Advice)
	r.Notes = list(r.Notes)
	photos := make([]measure.PhotoResult, len(r.Photos))
	for i, p := range r.Photos {
		p.Sheets = list(p.Sheets)
		p.Wheels = list(p.Wheels)
		photos[i] = p
	}
	r.Photos = photos
	return r
}

func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
