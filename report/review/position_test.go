package review

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"rimpair/measure"
	"rimpair/vision"
)

// Folders called by where the valves are are one visit, where nothing else lies beside
// them.
func TestPositionsByFolders(t *testing.T) {
	for names, want := range map[string]string{
		"m/oben/1 m/unten/2":                     "m oben m unten",
		"m/Top/1 m/Bottom/2 m/bottom/3":          "m top m bottom m bottom",
		"x.zip/12/1 x.zip/6/2":                   "x.zip 12 x.zip 6",
		"oben/1 unten/2":                         "/ oben / unten",
		"12/1 3/2 6/3 9/4":                       "/ 12 / 3 / 6 / 9",
		"5/1 6/2 12/3":                           "5 - 6 - 12 -",           // customers by number
		"m/top/1 m/12/2":                         "m/top - m/12 -",         // one position
		"m/oben/1 m/unten/2 m/3":                 "m/oben - m/unten - m -", // something else beside them
		"m/oben/1 m/unten/2 n/oben/1 n/rest/2":   "m oben m unten n/oben - n/rest -",
		"m/oben/1 m/unten/2 m/unten/again/3 x/4": "m oben m unten m/unten/again - x -",
		"1 2":                                    "/ - / -",
	} {
		var photos []Photo
		for name := range strings.FieldsSeq(names) {
			photos = append(photos, seen(name, phone, -1, sheet(1, 0, 0, 0)))
		}
		positioned(photos)
		var said []string
		for i := range photos {
			said = append(said, or(photos[i].visit(), "/"), or(photos[i].position, "-"))
		}
		assert.Equal(t, want, strings.Join(said, " "), names)
	}
}

func or(text, instead string) string {
	if text == "" {
		return instead
	}
	return text
}

// Positions are measured together; what does not go together, each by itself, and what is
// of none has no number.
func TestSettlePositions(t *testing.T) {
	for name, c := range map[string]struct {
		names  string
		refuse string // sets that are refused: their size and the code
		want   string
	}{
		"together":        {"oben/1 oben/2 unten/1 unten/2", "", "[oben/1 oben/2 unten/1 unten/2] [positions]"},
		"apart":           {"oben/1 oben/2 unten/1 unten/2", "4:photo_disagrees", "[oben/1 oben/2] [unten/1 unten/2] [apart]"},
		"one cannot be":   {"oben/1 oben/2 unten/1", "3:wheel_unclear 1:wheels_cut_off", "[oben/1 oben/2] without unten/1 [apart]"},
		"no single state": {"oben/1 oben/2 unten/1 unten/2", "4:photo_disagrees 2:photo_disagrees", "photo_disagrees []"},
	} {
		var photos []Photo
		for i, n := range strings.Fields(c.names) {
			photos = append(photos, from(n, float64(90*(i%2))))
		}
		positioned(photos)
		m := settle(Group{Photos: photos}, func(photos []Photo) (*measure.Result, *vision.Refusal) {
			for refused := range strings.FieldsSeq(c.refuse) {
				if size, code, _ := strings.Cut(refused, ":"); size == fmt.Sprint(len(photos)) {
					return nil, &vision.Refusal{Code: code}
				}
			}
			return &measure.Result{}, nil
		})
		assert.Equal(t, c.want, strings.Join(append(outcome(&m), fmt.Sprint(m.Notes)), " "), name)
	}
}
