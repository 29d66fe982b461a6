package report

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"io/fs"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// This file says in another language what was said in English: why there is no number,
// what is wrong with a photo or a record, and what to do. Such a sentence may come from
// measuring, from a review that was kept or from a file, and its text is all there is of
// it. A language knows it by its English format and reads the figures back out of it, so
// that all of it is said again; one that is not known stays in English.

// sentences holds one catalogue for each language but English: the English format, with
// verbs of package fmt, and the sentence with {1}, {2}, … for what they stand for.
//
//go:embed sentences/*.json
var sentences embed.FS

// sentence is one of a language.
type sentence struct {
	english *regexp.Regexp
	numbers []bool // which of its holes are filled with a figure
	text    string
}

// verb is one of package fmt, as far as sentences use them.
var verb = regexp.MustCompile(`%(?:\.[0-9])?[dfgqsvw%]`)

// newSentence reads a format.
func newSentence(format, text string) sentence {
	s := sentence{text: text}
	var pattern strings.Builder
	pattern.WriteString("(?s)^")
	rest := 0
	for _, at := range verb.FindAllStringIndex(format, -1) {
		pattern.WriteString(regexp.QuoteMeta(format[rest:at[0]]))
		rest = at[1]
		switch kind := format[rest-1]; kind {
		case '%':
			pattern.WriteString("%")
		case 'd', 'f', 'g':
			pattern.WriteString(`([-+]?[0-9.]+(?:e[-+][0-9]+)?)`)
			s.numbers = append(s.numbers, true)
		case 'q':
			pattern.WriteString(`"(.*)"`)
			s.numbers = append(s.numbers, false)
		default:
			pattern.WriteString(`(.+)`)
			s.numbers = append(s.numbers, false)
		}
	}
	pattern.WriteString(regexp.QuoteMeta(format[rest:]) + "$")
	s.english = regexp.MustCompile(pattern.String())
	return s
}

// readSentences reads a language's catalogue when it is first needed; English has none.
func readSentences(code string) func() []sentence {
	return sync.OnceValue(func() []sentence {
		content, err := sentences.ReadFile("sentences/" + code + ".json")
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		texts := map[string]string{}
		if err == nil {
			err = json.Unmarshal(content, &texts)
		}
		if err != nil {
			panic(err) // it is part of the program
		}
		var list []sentence
		for format, text := range texts {
			list = append(list, newSentence(format, text))
		}
		// The one with the most of its own words is meant where several fit.
		slices.SortFunc(list, func(a, b sentence) int { return len(b.english.String()) - len(a.english.String()) })
		return list
	})
}

// Said is what was said in English in this language, or as it was where it is not known.
func (l *Language) Said(english string) string {
	if text, ok := l.said(english); ok {
		return text
	}
	// Of two sentences each may be known.
	for i := range english {
		if !strings.HasPrefix(english[i:], ". ") {
			continue
		}
		first, ok := l.said(english[:i+1])
		then, also := l.said(english[i+2:])
		if ok && also {
			return first + " " + then
		}
	}
	return english
}

func (l *Language) said(english string) (text string, ok bool) {
	for _, s := range l.sentences() {
		parts := s.english.FindStringSubmatch(english)
		if parts == nil {
			continue
		}
		var fill []string
		for i, part := range parts[1:] {
			if s.numbers[i] {
				part = l.figure(part)
			} else {
				part = l.Said(part)
			}
			fill = append(fill, "{"+strconv.Itoa(i+1)+"}", part)
		}
		return strings.NewReplacer(fill...).Replace(s.text), true
	}
	return "", false
}

// SaidJSON is JSON with all that is wrong and what to do in this language.
func (l *Language) SaidJSON(content []byte) ([]byte, error) {
	if len(l.sentences()) == 0 {
		return content, nil
	}
	d := json.NewDecoder(bytes.NewReader(content))
	d.UseNumber() // figures stay as they are
	var value any
	if err := d.Decode(&value); err != nil {
		return nil, err
	}
	l.sayIn(value)
	return json.Marshal(value)
}

// sayIn words the sentences in a value of JSON, which stand where a refusal or a judgement
// has them.
func (l *Language) sayIn(value any) {
	switch v := value.(type) {
	case []any:
		for _, one := range v {
			l.sayIn(one)
		}
	case map[string]any:
		for key, one := range v {
			text, ok := one.(string)
			if ok && slices.Contains([]string{"reason", "text", "remedy"}, key) {
				v[key] = l.Said(text)
			} else {
				l.sayIn(one)
			}
		}
	}
}
