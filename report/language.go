package report

import (
	"embed"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"rimpair/measure"
)

// languages holds one catalogue a language, by its code; another one is another file.
//
//go:embed languages/*.json
var languages embed.FS

// Language is a catalogue of texts.
type Language struct {
	Code  string
	texts map[string]string
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
	l := &Language{Code: code}
	return l, json.Unmarshal(content, &l.texts)
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

// toeWithHalf is a toe and half of its interval: "4.04 mm toe-in ± 0.63 mm".
func (l *Language) toeWithHalf(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return l.say("unknown")
	}
	return l.toe(q.Value, f.Decimals) + " ± " + l.figure(f.Half) + " mm"
}
