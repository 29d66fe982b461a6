package report

import (
	"bytes"
	"path"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report/review"
	"rimpair/vision"
)

// lookedAt is a photo with findings.
func lookedAt(name, angle, verdict string, codes ...string) review.Photo {
	j := review.Judgement{Verdict: verdict, Angle: angle, Findings: []review.Finding{}, Sheets: []int{}, Wheels: []string{}}
	for _, code := range codes {
		j.Findings = append(j.Findings, review.Finding{Code: code, Text: "T " + code + ".", Remedy: "R " + code + "."})
	}
	return review.Photo{File: review.File{Name: name}, Judgement: j, Camera: vision.CameraID{Width: 4000, Height: 3000}}
}

func groupOf(photos ...review.Photo) review.Group {
	at := time.Date(2026, 6, 14, 10, 3, 0, 0, time.UTC)
	return review.Group{Folder: path.Dir(photos[0].Name), Number: 1, From: at, To: at.Add(time.Minute), Photos: photos}
}

// reviewed are groups with all that can be said.
func reviewed() []review.Measured {
	toe := sampleResult()
	wide := sampleResult()
	wide.TotalToeMm = quantity(-0.4, 2.3)
	twin := lookedAt("a/twin.jpg", "front", review.Good)
	twin.CopyOf = "a/front.jpg"
	measured := review.Measured{
		Group:  groupOf(lookedAt("a/front.jpg", "front", review.Good), lookedAt("a/rear.jpg", "rear", review.Usable, "too_far", "one_sheet"), lookedAt("a/above.jpg", "above", review.Usable, "one_sheet"), lookedAt("a/cut.jpg", "", review.Repeat, "truncated"), twin),
		States: []review.State{{Photos: []string{"a/front.jpg", "a/rear.jpg", "a/above.jpg"}, Result: &toe}},
	}
	rounds := review.Measured{
		Group:   groupOf(lookedAt("b/1.jpg", "front", review.Good), lookedAt("b/2.jpg", "front", review.Good), lookedAt("b/3.jpg", "front", review.Good)),
		States:  []review.State{{Photos: []string{"b/1.jpg"}, Result: &toe}, {Photos: []string{"b/2.jpg"}, Result: &wide}},
		LeftOut: []vision.Refusal{{Code: "wheels_cut_off", Photo: "b/3.jpg"}},
	}
	rounds.Notes = []string{review.Rounds, review.ByOrder}
	refused := review.Measured{
		Group:   groupOf(lookedAt("c/1.jpg", "front", review.Good), lookedAt("c/2.jpg", "", review.Repeat, "unheard_of")),
		Refused: &vision.Refusal{Code: "photo_disagrees", Photo: "c/1.jpg", Reason: "R.", Remedy: "M."},
	}
	many := rounds
	many.Notes = []string{review.Many}
	apart := rounds
	apart.Notes = []string{review.Apart}
	together := measured
	together.Notes = []string{review.Positions}
	return []review.Measured{measured, rounds, refused, many, apart, together}
}

func TestReplyIsWordedWhole(t *testing.T) {
	for _, code := range LanguageCodes() {
		l, err := NewLanguage(code)
		require.NoError(t, err)
		for i, g := range reviewed() {
			text := Reply(&g, l)
			assert.NotRegexp(t, `[{}]|reply\.|refused\.|angle\.|caution\.|%!`, text, "%s, group %d", code, i)
			assert.Contains(t, text, l.say("caution.1"), "every reply has the caution")
		}
	}
}

func TestReply(t *testing.T) {
	replies := make([]string, 0, 3)
	for _, g := range reviewed()[:3] {
		replies = append(replies, Reply(&g, English()))
	}
	for i, want := range [][]string{
		{
			"4.04 mm toe-in ± 0.63 mm (3 photos)", "between 3.41 mm toe-in and 4.67 mm toe-in, 19 times in 20", "That it is toe-in is settled",
			"Well taken: front.jpg (from the front).",
			"Please take again:\n- cut.jpg: The file ends before",
			"- rear.jpg (from the rear): The sheets are small",
			"- rear.jpg (from the rear), above.jpg (from above): It shows one sheet.",
			"twin.jpg is the same photo as front.jpg.",
		},
		{
			"1.jpg: total toe 4.04 mm toe-in", "2.jpg: total toe 0.4 mm toe-out ± 4.5 mm", "these photos do not settle", "too wide an interval",
			"do not show one state", "Please say if they are not of one vehicle", "No number is of these:\n- 3.jpg: A front wheel is cut off.",
		},
		{"give no number", "1.jpg: The wheels are not in one place in all photos.", "- 2.jpg: T unheard_of. R unheard_of."},
	} {
		for _, part := range want {
			assert.Contains(t, replies[i], part)
		}
	}
	assert.NotContains(t, replies[0], "too wide an interval")
	assert.Contains(t, replies[1], "Well taken: 1.jpg (from the front), 2.jpg (from the front).", "not the one left out")
	assert.NotRegexp(t, regexp.MustCompile(`[0-9] mm`), replies[2], "no number where there is none")
}

// Every code that a judged or measured photo can have is in the catalogue: those that the
// source gives, but for calibrating, steering and states.
func TestWrongsAreWorded(t *testing.T) {
	l := English()
	for _, code := range strings.Fields(`no_photos unreadable truncated not_a_photo too_large too_slow same_photo_twice too_blurred no_sheet
		sheet_twice sheets_not_linked sheets_moved wheels_not_found wheels_cut_off wheel_unclear mudguards photo_disagrees not_settled camera_mismatch size_mismatch
		too_flat too_far one_sheet blurred too_bright too_dark wheel_cut_off.left wheel_cut_off.right wheels_unsure`) {
		assert.Contains(t, l.texts, "refused."+code)
		assert.Contains(t, l.texts, "refused."+code+".remedy")
	}
}

func TestReviewJSON(t *testing.T) {
	var w bytes.Buffer
	require.NoError(t, ReviewJSON(&w, reviewed(), []review.Photo{lookedAt("x.jpg", "", review.Repeat, "not_a_photo")}))
	assert.NoError(t, validateBy(t, "review.schema.json", w.Bytes()))
	assert.NotContains(t, w.String(), "null")
	assert.Contains(t, w.String(), `"from": "2026-06-14T10:03:00"`)
	for spoilt, instead := range map[string]string{`"verdict": "good"`: `"verdict": "fine"`, `"rimpair/review/1"`: `"rimpair/review/2"`, `"low_95"`: `"low"`} {
		assert.Error(t, validateBy(t, "review.schema.json", bytes.Replace(w.Bytes(), []byte(spoilt), []byte(instead), 1)), instead)
	}
	w.Reset()
	require.NoError(t, ReviewJSON(&w, nil, nil))
	assert.NoError(t, validateBy(t, "review.schema.json", w.Bytes()))
}

func TestReviewTable(t *testing.T) {
	for _, code := range LanguageCodes() {
		l, err := NewLanguage(code)
		require.NoError(t, err)
		var w bytes.Buffer
		require.NoError(t, ReviewTable(&w, reviewed(), []review.Photo{lookedAt("x\x1b[2J.jpg", "", review.Repeat, "not_a_photo")}, l))
		assert.NotRegexp(t, `[{}\x1b]|review\.|refused\.`, w.String())
		t.Log("\n" + w.String())
	}
}

func TestReplyFiles(t *testing.T) {
	groups := []review.Measured{{Group: review.Group{Folder: "../../etc/x"}}, {Group: review.Group{Folder: "a/b", Number: 3}}}
	assert.NotContains(t, ReplyFile(groups, 0, English()), "/")
	assert.Equal(t, "2-a-b group 3.txt", ReplyFile(groups, 1, English()))
}
