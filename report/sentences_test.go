package report

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// notSaid are files whose sentences nobody reads but in a terminal: of calibrating, which
// is in English, and of answers that pages word by their code.
var notSaid = regexp.MustCompile(`_test\.go$|measure/(calibrate|calibrate_views|calibrate_paper|rod\w+)\.go$|vision/chessboard\.go$`)

// sources are the literals of strings in the source, but for the tests'.
func sources(t *testing.T, globs ...string) []string {
	t.Helper()
	var list []string
	for _, glob := range globs {
		files, err := filepath.Glob(glob)
		require.NoError(t, err)
		require.NotEmpty(t, files, glob)
		for _, file := range files {
			if notSaid.MatchString(file) {
				continue
			}
			tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			require.NoError(t, err)
			ast.Inspect(tree, func(n ast.Node) bool {
				if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
					text, err := strconv.Unquote(l.Value)
					require.NoError(t, err)
					list = append(list, strings.TrimSpace(text))
				}
				return true
			})
		}
	}
	return list
}

// catalogues are those of all languages but English.
func catalogues(t *testing.T) map[string]map[string]string {
	t.Helper()
	all := map[string]map[string]string{}
	for _, code := range LanguageCodes() {
		if code == "en" {
			continue
		}
		content, err := sentences.ReadFile("sentences/" + code + ".json")
		require.NoError(t, err)
		texts := map[string]string{}
		require.NoError(t, json.Unmarshal(content, &texts))
		all[code] = texts
	}
	require.NotEmpty(t, all)
	return all
}

// Every sentence of a refusal, a judgement and damage is in each language, with all that
// is filled into it; and no language has one that nobody says.
func TestEverySentenceIsSaid(t *testing.T) {
	whole := regexp.MustCompile(`(?s)^[A-Z].* .*\.$`)
	said := sources(t, "../vision/*.go", "../measure/*.go", "review/*.go", "serve/archive.go", "serve/judge.go", "serve/measuring.go")
	known := append(sources(t, "job/*.go", "serve/reviews.go", "serve/uploads.go", "../cmd/rimpair/cameraprofile.go", "../calib/profile_fit.go"), said...)
	for code, texts := range catalogues(t) {
		for _, text := range said {
			if whole.MatchString(text) {
				assert.NotEmpty(t, texts[text], "%s: %s", code, text)
			}
		}
		for format, text := range texts {
			assert.True(t, slices.Contains(known, format), "%s: %s", code, format)
			holes := len(newSentence(format, text).numbers)
			for i := range holes {
				assert.Contains(t, text, "{"+strconv.Itoa(i+1)+"}", code)
			}
			assert.NotContains(t, text, "{"+strconv.Itoa(holes+1)+"}", code)
		}
	}
}

// Whatever stands in a sentence stands in it again, and no other sentence passes for it.
func TestFiguresAreReadBack(t *testing.T) {
	for code, texts := range catalogues(t) {
		l, err := NewLanguage(code)
		require.NoError(t, err)
		for _, format := range slices.Sorted(maps.Keys(texts)) {
			n := 0
			var fill []string
			english := verb.ReplaceAllStringFunc(format, func(v string) string {
				n++
				number := strconv.Itoa(70 + n)
				switch v[len(v)-1] {
				case '%':
					n--
					return "%"
				case 'q':
					fill = append(fill, "b"+number)
					return `"b` + number + `"`
				case 's', 'v', 'w':
					fill = append(fill, "b"+number)
					return "b" + number
				}
				if strings.HasPrefix(v, "%.1") {
					number += ".5"
				}
				fill = append(fill, number)
				return number
			})
			want := texts[format]
			for i, part := range fill {
				if strings.HasPrefix(part, "7") {
					part = l.figure(part)
				}
				want = strings.ReplaceAll(want, "{"+strconv.Itoa(i+1)+"}", part)
			}
			assert.Equal(t, want, l.Said(english), code)
		}
	}
}

func TestSaidInGerman(t *testing.T) {
	l, err := NewLanguage("de")
	require.NoError(t, err)
	for english, german := range map[string]string{
		"Only 43 % of the left tyre's outline is seen clearly, and not enough of its rim.":                                                        "Nur 43 % vom Umriss des linken Reifens sind deutlich zu sehen, und nicht genug von seiner Felge.",
		"The right rim seems 6 mm smaller in diameter than a rim of 355 mm bead seat.":                                                            "Die rechte Felge scheint im Durchmesser 6 mm kleiner zu sein als eine Felge mit 355 mm Felgenschulterdurchmesser.",
		"In this photo the wheels have 0.3° less toe-in between them than in the others.":                                                         "In diesem Foto haben die Räder zusammen 0,3° weniger Vorspur als in den anderen.",
		`In state "bottom": The photos do not agree on where the wheels are (their residuals are 2.4 times as large as they should be).`:          "Stellung „unten“: Die Fotos stimmen nicht überein, wo die Räder stehen (ihre Abweichungen sind 2,4-mal so groß, wie sie sein sollten).",
		"The wheels do not fit a bead seat of 406 mm; with 349 mm the photos agree. If the size is right, the sheets were printed at about 86 %.": "Die Räder passen nicht zu einem Felgenschulterdurchmesser von 406 mm; mit 349 mm stimmen die Fotos überein. Stimmt die Größe, so wurden die Blätter mit etwa 86 % gedruckt.",
		"This is the same photo as IMG.2024. 1.jpg.":                                                                                              "Das ist dasselbe Foto wie IMG.2024. 1.jpg.",
		"Nobody ever said 1.5 of this.": "Nobody ever said 1.5 of this.",
		"":                              "",
	} {
		assert.Equal(t, german, l.Said(english))
		assert.Equal(t, english, English().Said(english))
	}
}

// What a page gets is worded where it stands for what is wrong, and nothing else is.
func TestSaidJSON(t *testing.T) {
	const content = `{"groups":[{"refused":{"code":"no_photos","reason":"There is no photo.","remedy":"Take it again."}}],"note":"There is no photo.","size":1234567890123456789}`
	same, err := English().SaidJSON([]byte(content))
	require.NoError(t, err)
	assert.Equal(t, content, string(same))
	german, err := NewLanguage("de")
	require.NoError(t, err)
	worded, err := german.SaidJSON([]byte(content))
	require.NoError(t, err)
	assert.JSONEq(t, `{"groups":[{"refused":{"code":"no_photos","reason":"Es ist kein Foto da.","remedy":"Es noch einmal machen."}}],"note":"There is no photo.","size":1234567890123456789}`, string(worded))
	_, err = german.SaidJSON([]byte("{"))
	assert.Error(t, err)
}
