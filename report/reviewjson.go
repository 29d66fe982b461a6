package report

import (
	"io"
	"time"

	"rimpair/measure"
	"rimpair/report/review"
	"rimpair/vision"
)

// ReviewGroup is a group as programs and pages get it.
type ReviewGroup struct {
	Folder  string            `json:"folder"`
	Number  int               `json:"number"` // among the folder's groups; 0 where it is the only one
	From    string            `json:"from"`   // by the camera's clock; "" when not known
	To      string            `json:"to"`
	Photos  []ReviewPhoto     `json:"photos"`
	States  []ReviewState     `json:"states"`
	LeftOut []vision.Refusal  `json:"left_out"` // of photos that no state has
	Refused *vision.Refusal   `json:"refused,omitempty"`
	Notes   []string          `json:"notes"`
	Reply   map[string]string `json:"reply"` // by language
}

// ReviewPhoto is a photo of a review.
type ReviewPhoto struct {
	Key       string           `json:"key,omitempty"`
	Name      string           `json:"name"`
	Taken     string           `json:"taken"`
	Make      string           `json:"make"`
	Model     string           `json:"model"`
	Width     int              `json:"width_px"` // 0: it could not be read
	Height    int              `json:"height_px"`
	CopyOf    string           `json:"copy_of,omitempty"`
	Judgement review.Judgement `json:"judgement"`
}

// ReviewState is photos that were measured together. Result is left out where only the
// toe is asked for.
type ReviewState struct {
	Photos []string         `json:"photos"`
	Toe    measure.Quantity `json:"total_toe_mm"`
	Result *measure.Result  `json:"result,omitempty"`
}

// ReviewJSON writes a review as review.schema.json describes it.
func ReviewJSON(w io.Writer, groups []review.Measured, loose []review.Photo) error {
	views, err := ReviewGroups(groups, true)
	if err != nil {
		return err
	}
	return encode(w, struct {
		Schema string        `json:"schema"`
		Groups []ReviewGroup `json:"groups"`
		Loose  []ReviewPhoto `json:"loose"`
	}{"rimpair/review/1", views, reviewPhotos(loose)})
}

// ReviewGroups are groups with their replies in every language, and whole results if
// asked for.
func ReviewGroups(groups []review.Measured, whole bool) ([]ReviewGroup, error) {
	var languages []*Language
	for _, code := range LanguageCodes() {
		l, err := NewLanguage(code)
		if err != nil {
			return nil, err
		}
		languages = append(languages, l)
	}
	english, views := English(), []ReviewGroup{}
	for i := range groups {
		g := &groups[i]
		v := ReviewGroup{
			Folder: g.Folder, Number: g.Number, From: wallClock(g.From), To: wallClock(g.To), Photos: reviewPhotos(g.Photos),
			States: []ReviewState{}, LeftOut: list(g.LeftOut), Refused: g.Refused, Notes: list(g.Notes), Reply: map[string]string{},
		}
		for _, s := range g.States {
			state := ReviewState{Photos: s.Photos, Toe: s.Result.TotalToeMm}
			if whole {
				r := english.Worded(*s.Result)
				state.Result = &r
			}
			v.States = append(v.States, state)
		}
		for _, l := range languages {
			v.Reply[l.Code] = Reply(g, l)
		}
		views = append(views, v)
	}
	return views, nil
}

func reviewPhotos(photos []review.Photo) []ReviewPhoto {
	views := make([]ReviewPhoto, len(photos))
	for i, p := range photos {
		c := p.Camera
		views[i] = ReviewPhoto{p.Key, p.Name, wallClock(p.Taken), c.Make, c.Model, c.Width, c.Height, p.CopyOf, p.Judgement}
	}
	return views
}

// wallClock is a time without a zone, as a camera's clock shows it.
func wallClock(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02T15:04:05")
}
