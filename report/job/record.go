package job

import (
	"encoding/json"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rimpair/measure"
)

// Job is the record, as job.json holds it.
type Job struct {
	Schema    string    `json:"schema"`
	Created   time.Time `json:"created"`
	Customer  string    `json:"customer,omitempty"`
	Reference string    `json:"reference,omitempty"`
	// RulerMm is what the printed sheets' 100 mm rulers really measure, across and
	// along the page. It is the job's and not the vehicle's: the next print differs.
	RulerMm [2]float64 `json:"ruler_mm,omitzero"`
	Vehicle Vehicle    `json:"vehicle"`
	Entries []Entry    `json:"entries"` // oldest first; entry number 1 is the first
}

// Vehicle is what is worth knowing again the next time.
type Vehicle struct {
	Name          string         `json:"name,omitempty"`
	RimMm         float64        `json:"rim_mm,omitempty"` // bead seat diameter of the front rims
	TrackMm       *measure.Known `json:"track_mm,omitempty"`
	WheelbaseMm   *measure.Known `json:"wheelbase_mm,omitempty"`
	CameraProfile *File          `json:"camera_profile,omitempty"`
	// Steering has no record: that is made from the entries.
	Steering measure.Steering `json:"steering"`
}

// Entry is one thing that was done: a check, an adjustment, a measurement, or
// neither of these, with a note.
type Entry struct {
	At          time.Time    `json:"at"`
	Check       *Check       `json:"check,omitempty"`
	Adjustment  *Adjustment  `json:"adjustment,omitempty"`
	Measurement *Measurement `json:"measurement,omitempty"`
	Note        string       `json:"note,omitempty"`
	Photos      []File       `json:"photos,omitempty"` // of a measurement: in the order of its result
	// Pictures are small ones for the report, in the order of the photos; those of a
	// measurement show its marks, and the view from above comes last.
	Pictures []File `json:"pictures,omitempty"`
}

// File is a file of the job's folder.
type File struct {
	File   string `json:"file"` // path in the folder, with slashes
	SHA256 string `json:"sha256"`
	Name   string `json:"name,omitempty"` // as it came
	// OriginalSHA256 is that of the file as it came, where its location data were
	// taken out of this copy.
	OriginalSHA256 string `json:"original_sha256,omitempty"`
	// Labels are the words on a picture, whose pixels hold none.
	Labels []Label `json:"labels,omitempty"`
}

// Label is a word at a place of a picture, put there in the reader's language.
type Label struct {
	At              [2]float64 `json:"at"` // of its middle, from the top left in widths and heights of the picture
	measure.Message            // its figures may be those of the result
}

// Check is a result of one of the Checks.
type Check struct {
	ID     string `json:"id"`
	Result Result `json:"result"`
}

// Adjustment is what was turned.
type Adjustment struct {
	Turned []Turned `json:"turned"`
	// Advice is what had been advised, as the adjust command writes it.
	Advice json.RawMessage `json:"advice,omitempty"`
}

// Turned is one rod's turn.
type Turned struct {
	Rod           string  `json:"rod"`             // one of Rods
	LongerByTurns float64 `json:"longer_by_turns"` // negative: shorter
}

// Measurement is what was measured at a stage. The toe is kept here as well, so
// that a job can be listed and read without its results.
type Measurement struct {
	Stage Stage `json:"stage"`
	// Valves is where both front wheels' valves stood, in the person's words. Equal
	// words in two measurements say that the rims stood alike.
	Valves string `json:"valves,omitempty"`
	// Positions is where they stood in each photo, where the photos show several
	// positions: the toe is then free of the rims' run-out.
	Positions     []string         `json:"positions,omitempty"`
	Result        File             `json:"result"`
	TotalToeMm    measure.Quantity `json:"total_toe_mm"`
	RimTotalToeMm measure.Quantity `json:"rim_total_toe_mm"`
}

// Latest is when something was last added.
func (j *Job) Latest() time.Time {
	if n := len(j.Entries); n > 0 {
		return j.Entries[n-1].At
	}
	return j.Created
}

// Rods are those that can be turned, as measure names them.
func Rods() []string { return []string{"tie_rod", "left_rod", "right_rod", "cross_rod", "bar_rod"} }

// Target is the toe that is wanted.
func (j *Job) Target() measure.Target {
	if j.Vehicle.Steering.Target != nil {
		return *j.Vehicle.Steering.Target
	}
	return measure.DefaultTarget()
}

// kind is the word for an entry in the names of its files.
func (e *Entry) kind() string {
	switch {
	case e.Check != nil:
		return "check-" + strings.ReplaceAll(e.Check.ID, "_", "-")
	case e.Adjustment != nil:
		return "adjustment"
	case e.Measurement != nil:
		return strings.ReplaceAll(string(e.Measurement.Stage), "_", "-")
	}
	return "note"
}

// files lists every file that the record names.
func (j *Job) files() []File {
	var list []File
	if j.Vehicle.CameraProfile != nil {
		list = append(list, *j.Vehicle.CameraProfile)
	}
	for _, e := range j.Entries {
		if e.Measurement != nil {
			list = append(list, e.Measurement.Result)
		}
		list = append(list, e.Photos...)
		list = append(list, e.Pictures...)
	}
	return list
}

// isPlainPath says that a path is one that this package gives: in one of its folders,
// no hidden name, nothing that any file system or shell reads in a way of its own.
func isPlainPath(name string) bool {
	dir, base := path.Split(name)
	kind, ok := strings.CutPrefix(dir, "photos/")
	if !ok {
		kind, ok = strings.CutPrefix(dir, "pictures/")
	}
	if ok {
		number, word, _ := strings.Cut(strings.TrimSuffix(kind, "/"), "-")
		if len(number) < 2 || len(number) > 6 || strings.Trim(number, "0123456789") != "" ||
			word == "" || strings.Trim(word, "abcdefghijklmnopqrstuvwxyz-") != "" {
			return false
		}
	} else if dir != "results/" && dir != "camera/" {
		return false
	}
	return len(name) <= longestPath && base != "" && base == strings.Trim(base, trimmed) && strings.IndexFunc(base, isOdd) < 0
}

const (
	longestPath = 255
	trimmed     = ". +-" // not at a name's ends
)

// isOdd finds what is in no plain name.
func isOdd(r rune) bool {
	return r == utf8.RuneError || !unicode.IsLetter(r) && !unicode.IsNumber(r) && !strings.ContainsRune("_. +-", r)
}

// validate says what in the record cannot be: a path that leads out of the folder
// above all, since a record may come from somebody else.
func (j *Job) validate() error {
	taken := map[string]bool{}
	for _, f := range j.files() {
		if !isPlainPath(f.File) {
			return fmt.Errorf("names a file %q, which is no place for one", f.File)
		}
		lower := strings.ToLower(f.File)
		if taken[lower] {
			return fmt.Errorf("names the file %q twice", f.File)
		}
		taken[lower] = true
		if !isSHA256(f.SHA256) || f.OriginalSHA256 != "" && !isSHA256(f.OriginalSHA256) {
			return fmt.Errorf("has no SHA-256 of %q", f.File)
		}
	}
	if r := j.RulerMm; r != [2]float64{} && !(measure.PlausibleRuler(r[0]) && measure.PlausibleRuler(r[1])) {
		return fmt.Errorf("has 100 mm rulers of %g and %g mm", r[0], r[1])
	}
	for i := range j.Entries {
		if err := j.Entries[i].validate(); err != nil {
			return fmt.Errorf("entry %d %w", i+1, err)
		}
	}
	return nil
}

func isSHA256(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

func (e *Entry) validate() error {
	kinds := 0
	if c := e.Check; c != nil {
		kinds++
		if _, ok := CheckByID(c.ID); !ok {
			return fmt.Errorf("is of a check %q, which is not known", c.ID)
		}
		if !slices.Contains(Results(), c.Result) {
			return fmt.Errorf("has the result %q, which is not known", c.Result)
		}
	}
	if e.Adjustment != nil {
		kinds++
		if len(e.Adjustment.Turned) == 0 {
			return fmt.Errorf("is an adjustment of nothing")
		}
		for _, t := range e.Adjustment.Turned {
			if !slices.Contains(Rods(), t.Rod) {
				return fmt.Errorf("turns a rod %q, which is not known", t.Rod)
			}
		}
	}
	if m := e.Measurement; m != nil {
		kinds++
		if !slices.Contains(Stages(), m.Stage) {
			return fmt.Errorf("is of a stage %q, which is not known", m.Stage)
		}
		if n := len(m.Positions); n > 0 && n != len(e.Photos) {
			return fmt.Errorf("has %d photos and names the positions of %d", len(e.Photos), n)
		}
		for _, q := range []measure.Quantity{m.TotalToeMm, m.RimTotalToeMm} {
			if !(q.Low95 <= q.Value && q.Value <= q.High95 && q.StandardUncertainty > 0) {
				return fmt.Errorf("has a toe without a 95 %% interval")
			}
		}
	}
	if kinds > 1 {
		return fmt.Errorf("is of more than one kind")
	}
	if kinds == 0 && e.Note == "" && len(e.Photos) == 0 {
		return fmt.Errorf("is empty")
	}
	return nil
}
