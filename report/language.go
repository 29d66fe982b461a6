package report

import (
	"cmp"
	"embed"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"rimpair/measure"
)

// languages holds one catalogue a language, by its code; another one is another file.
//
//go:embed languages/*.json
var languages embed.FS

// Language is a catalogue of texts.
type Language struct {
	Code      string
	texts     map[string]string
	sentences func() []sentence // by their English formats
}

// LanguageCodes lists the languages there are.
func LanguageCodes() []string {
	files, err := languages.ReadDir("languages")
	if err != nil {
		panic(err) // it is part of the program
	}
	var codes []string
	for _, f := range files {
		codes = append(codes, strings.TrimSuffix(f.Name(), ".json"))
	}
	return codes
}

// NewLanguage reads a language's catalogue.
func NewLanguage(code string) (*Language, error) {
	if !slices.Contains(LanguageCodes(), code) {
		return nil, fmt.Errorf("no language %q: there is %s", code, strings.Join(LanguageCodes(), ", "))
	}
	content, err := languages.ReadFile(path.Join("languages", code+".json"))
	if err != nil {
		return nil, err
	}
	l := &Language{Code: code, sentences: readSentences(code)}
	return l, json.Unmarshal(content, &l.texts)
}

// English is the language of a terminal and of the sentences in JSON.
func English() *Language {
	l, err := NewLanguage("en")
	if err != nil {
		panic(err) // it is part of the program
	}
	return l
}

// say is the text of a key, with {name} replaced by what follows the name in fill.
// A key without a text shows itself: the tests look for all of them.
func (l *Language) say(key string, fill ...string) string {
	text, ok := l.find(key)
	if !ok {
		return key
	}
	for i := 0; i+1 < len(fill); i += 2 {
		text = strings.ReplaceAll(text, "{"+fill[i]+"}", fill[i+1])
	}
	return text
}

func (l *Language) find(key string) (text string, ok bool) {
	text, ok = l.texts[key]
	return text, ok
}

// hole is a place to fill in: {name}, or {name:2} for a number of two decimals.
var hole = regexp.MustCompile(`\{([a-z]+)(?::([0-9]))?\}`)

// worded is a message of a kind; where the catalogue does not know it, as it was written
// in English.
func (l *Language) worded(kind string, m measure.Message, english string) line {
	text, ok := l.find(kind + "." + m.Code)
	if !ok {
		return line{Text: cmp.Or(english, m.Code), English: true}
	}
	return line{Text: hole.ReplaceAllStringFunc(text, func(place string) string {
		part := hole.FindStringSubmatch(place)
		decimals, _ := strconv.Atoi(part[2]) // none without
		return l.filled(m.Params[part[1]], decimals)
	})}
}

// filled is a message's parameter in words.
func (l *Language) filled(value any, decimals int) string {
	switch v := value.(type) {
	case float64:
		return l.figure(fixed(v, decimals))
	case int: // of a message that was in no JSON yet
		return fmt.Sprint(v)
	case string:
		if word, ok := l.find("word." + v); ok {
			return word
		}
		return v
	}
	return "?"
}

// notes are messages a line each, with what was written in English for each of them.
func (l *Language) notes(codes []measure.Message, english []string) []line {
	if len(codes) == 0 {
		return inEnglish(english)
	}
	list := make([]line, len(codes))
	for i, m := range codes {
		was := ""
		if i < len(english) {
			was = english[i]
		}
		list[i] = l.worded("note", m, was)
	}
	return list
}

func inEnglish(texts []string) []line {
	list := lines(texts)
	for i := range list {
		list[i].English = true
	}
	return list
}

// figures writes every figure in a text with the language's decimal sign.
func (l *Language) figures(text string) string {
	return strings.ReplaceAll(text, ".", l.say("decimal"))
}

// figure writes a rounded figure with the language's decimal sign.
func (l *Language) figure(f string) string { return strings.Replace(f, ".", l.say("decimal"), 1) }

// toe is a toe with its direction in words; one that rounds to zero has none.
func (l *Language) toe(mm float64, decimals int) string { return l.directed("toe", mm, decimals) }

// toward is a change of toe with its direction in words.
func (l *Language) toward(mm float64, decimals int) string {
	return l.directed("toward", mm, decimals)
}

func (l *Language) directed(kind string, mm float64, decimals int) string {
	figure := fixed(math.Abs(mm), decimals)
	key := kind + ".in"
	switch {
	case strings.Trim(figure, "0.") == "":
		key = "toe.none"
	case mm < 0:
		key = kind + ".out"
	}
	return l.say(key, "mm", l.figure(figure))
}

// target is a toe that a person has set, by tenths.
func (l *Language) target(mm float64) string {
	decimals := 1
	if mm == math.Trunc(mm) {
		decimals = 0
	}
	return l.toe(mm, decimals)
}

// withUnit is "691.6 ± 1.2 mm".
func (l *Language) withUnit(q measure.Quantity, unit string) string {
	f := round(q)
	if !f.Known {
		return l.say("unknown")
	}
	return l.figure(f.Value) + " ± " + l.figure(f.Half) + unit
}

// toeValue is "4.04 mm toe-in".
func (l *Language) toeValue(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return l.say("unknown")
	}
	return l.toe(q.Value, f.Decimals)
}

// toeSpread is "95 % interval 3.41 to 4.67 mm toe-in (± 0.63 mm)".
func (l *Language) toeSpread(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return l.say("spread.unknown")
	}
	// The direction is named once, or at both ends when the interval holds both; of a
	// toe-out the smaller one comes first.
	low, high := l.toe(q.Low95, f.Decimals), l.toe(q.High95, f.Decimals)
	switch {
	case q.Low95 > 0:
		low = l.figure(f.Low)
	case q.High95 < 0:
		low, high = l.figure(fixed(-q.High95, f.Decimals)), low
	}
	return l.say("spread", "low", low, "high", high, "half", l.figure(f.Half))
}

// toeWithHalf is a toe and half of its interval: "4.04 mm toe-in ± 0.63 mm".
func (l *Language) toeWithHalf(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return l.say("unknown")
	}
	return l.toe(q.Value, f.Decimals) + " ± " + l.figure(f.Half) + " mm"
}
