package report

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
)

// Every code that measuring gives has its words, and all words have a code.
func TestEveryMessageHasItsWords(t *testing.T) {
	files, err := filepath.Glob("../measure/*.go")
	require.NoError(t, err)
	var source strings.Builder
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		source.Write(text)
	}
	quoted := regexp.MustCompile(`"([a-z]+(_[a-z]+)*)"`)
	given := map[string]bool{}
	for _, m := range quoted.FindAllStringSubmatch(source.String(), -1) {
		given[m[1]] = true
	}
	l := English()
	for key := range l.texts {
		kind, code, _ := strings.Cut(key, ".")
		switch kind {
		case "source", "note", "advice":
			assert.True(t, given[strings.TrimPrefix(code, "photo_")], "%s is said nowhere", key)
		}
	}
	said := regexp.MustCompile(`Message{(?:Code: )?"([a-z_]+)"`).FindAllStringSubmatch(source.String(), -1)
	assert.Greater(t, len(said), 10)
	for _, m := range said {
		if code := m[1]; !strings.HasSuffix(code, "_") { // the start of several
			assert.True(t, l.texts["note."+code] != "" || l.texts["advice."+code] != "", code)
		}
	}
}

// Words, figures and what came without codes, in both languages.
func TestMessagesAreWorded(t *testing.T) {
	german, err := NewLanguage("de")
	require.NoError(t, err)
	for _, c := range []struct {
		m               measure.Message
		english, german string
	}{
		{measure.Message{Code: "outlines_in_doubt", Params: measure.Params{"times": 1.37}}, "are 1.4 times as wide", "sind deshalb 1,4-mal so breit"},
		{measure.Message{Code: "tyre_alone", Params: measure.Params{"side": "right"}}, "Of the right wheel", "Vom rechten Rad"},
		{measure.Message{Code: "profile", Params: measure.Params{"date": "{photos}", "photos": 12}}, "profile of {photos}, made from 12 photos", "aus 12 Fotos"},
		{measure.Message{Code: "profile"}, "made from ? photos", "aus ? Fotos"},
		{measure.Message{Code: "of_a_newer_program"}, "As it was written.", "As it was written."},
	} {
		for _, m := range []measure.Message{c.m, reread(t, c.m)} {
			assert.Contains(t, English().worded("note", m, "As it was written.").Text, c.english)
			assert.Contains(t, german.worded("note", m, "As it was written.").Text, c.german)
		}
	}
	assert.Equal(t, []line{{Text: "An old one.", English: true}}, german.notes(nil, []string{"An old one."}))
	assert.Equal(t, "new", English().worded("note", measure.Message{Code: "new"}, "").Text)
}

func reread(t *testing.T, m measure.Message) (back measure.Message) {
	t.Helper()
	text, err := json.Marshal(m)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &back))
	return back
}

// What is written has every sentence in English too, and what it was made from stays as
// it was.
func TestResultsAreWrittenInEnglish(t *testing.T) {
	r := sampleResult()
	var w bytes.Buffer
	require.NoError(t, JSON(&w, r))
	assert.Equal(t, sampleResult(), r)
	var back measure.Result
	require.NoError(t, json.Unmarshal(w.Bytes(), &back))
	assert.Equal(t, "run-out of the rims (assumed)", back.Budget[0].EnglishSource)
	assert.Equal(t, "Add a photo from the front left corner.", back.Advice[1].EnglishText)
	require.Len(t, back.EnglishNotes, len(r.Notes))
	assert.Contains(t, back.EnglishNotes[2], "profile of 2026-05-01, made from 12 photos")
	assert.Equal(t, slices.Sorted(maps.Keys(r.Notes[2].Params)), slices.Sorted(maps.Keys(back.Notes[2].Params)))
}
