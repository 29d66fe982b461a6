package report

import (
	"bytes"
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
)

func resultText(t *testing.T, r measure.Result) string {
	t.Helper()
	var w bytes.Buffer
	require.NoError(t, Text(&w, r))
	return w.String()
}

// flat undoes the line breaks.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// Every quantity of the JSON stands in the text, in the row that names it, to
// within the rounding of that row: half a last digit for the value and the ends,
// one for the half-width.
func TestTextAndJSONSayTheSame(t *testing.T) {
	r := sampleResult()
	var doc struct {
		Track  measure.Quantity `json:"track_mm"`
		Front  measure.Quantity `json:"gap_front_mm"`
		Rear   measure.Quantity `json:"gap_rear_mm"`
		Hub    measure.Quantity `json:"hub_height_mm"`
		Wheels []struct {
			Side     string           `json:"side"`
			Toe      measure.Quantity `json:"toe_deg"`
			Camber   measure.Quantity `json:"camber_deg"`
			Diameter measure.Quantity `json:"rim_diameter_mm"`
		} `json:"wheels"`
		Behind *struct {
			Thrust   measure.Quantity `json:"thrust_deg"`
			Over     measure.Quantity `json:"thrust_mm"`
			Lean     measure.Quantity `json:"lean_deg"`
			Offset   measure.Quantity `json:"offset_mm"`
			Steering measure.Quantity `json:"steering_off_deg"`
			Base     measure.Quantity `json:"wheelbase_mm"`
		} `json:"rear"`
	}
	require.NoError(t, json.Unmarshal(resultJSON(t, r), &doc))
	rows := map[string]measure.Quantity{
		"track at hub height":        doc.Track,
		"front gap between the rims": doc.Front,
		"rear gap between the rims":  doc.Rear,
		"hub height":                 doc.Hub,
	}
	for _, w := range doc.Wheels {
		rows[w.Side+" toe"] = w.Toe
		rows[w.Side+" camber"] = w.Camber
		rows[w.Side+" rim diameter"] = w.Diameter
	}
	require.NotNil(t, doc.Behind)
	rows["rolls, against front pair"] = doc.Behind.Thrust
	rows["over the wheelbase"] = doc.Behind.Over
	rows["lean"] = doc.Behind.Lean
	rows["runs beside the middle"] = doc.Behind.Offset
	rows["steering off centre"] = doc.Behind.Steering
	rows["wheelbase"] = doc.Behind.Base
	require.Len(t, rows, 16)

	text := resultText(t, r)
	for name, q := range rows {
		row := regexp.MustCompile(`(?m)^  ` + name + ` +(\S+) ± (\S+) +\S+ +\((\S+) to (\S+)\)$`).FindStringSubmatch(text)
		require.NotNil(t, row, "%s in\n%s", name, text)
		_, fraction, _ := strings.Cut(row[1], ".")
		unit := math.Pow10(-len(fraction))
		for i, want := range []float64{q.Value, (q.High95 - q.Low95) / 2, q.Low95, q.High95} {
			got, err := strconv.ParseFloat(row[i+1], 64)
			require.NoError(t, err)
			tolerance := 0.5000001 * unit
			if i == 1 {
				tolerance = unit
			}
			assert.InDelta(t, want, got, tolerance, "%s, figure %d", name, i)
		}
	}
}

func TestTextTellsTheMechanic(t *testing.T) {
	text := resultText(t, sampleResult())
	first, _, _ := strings.Cut(text, "\n")
	assert.Equal(t, "Total toe at the rim, at hub height: 4.04 mm toe-in", first)
	for _, want := range []string{
		"95 % interval 3.41 to 4.67 mm toe-in (± 0.63 mm)",
		"assumed run-out of the rims (standard uncertainty 0.30 mm)",
		"The rims alone, as they stood in these photos: 4.04 mm toe-in, 95 % interval 3.81 to 4.27 mm toe-in (± 0.24 mm)",
		"front.jpg 4000 x 3000 px, focal length 3012 ± 13 px sheets 1, 2 44 corners, 0.09 px",
		"left wheel tyre outline 212 points, 0.11 px; rim 88 points, 0.29 px",
		"right wheel tyre outline 205 points, 0.12 px; rim not used",
		"the largest 3 of 4 sources",
		"run-out of the rims (assumed) 0.30 mm 86 %",
		"1. Turn both front wheels by half a turn on the spot",
		"forecast: ± 0.26 mm instead of ± 0.63 mm",
		"2. Add a photo from the front left corner.",
		"Of the right wheel only",
	} {
		assert.Contains(t, flat(text), want)
	}
	assert.NotContains(t, text, "sheet flatness", "only the three largest sources")
	assert.NotContains(t, text, "second sheet", "only the first two pieces of advice")
	assert.NotContains(t, text, "Caution")
}

func TestTextFitsATerminal(t *testing.T) {
	long := sampleResult()
	long.Photos[0].File = strings.Repeat("a-very-long-folder/", 12) + "front.jpg"
	long.Photos[1].File = "\x1b[31mred\x1b[0m\r\n\u202egpj.raer"
	long.Photos[2].Sheets = []int{1, 2, 3, 4, 5}
	// Words of an older result.
	long.Budget[0].Code, long.Budget[0].EnglishSource = "", strings.Repeat("a long source ", 12)
	long.Advice[0].Message, long.Advice[0].EnglishText = measure.Message{}, strings.Repeat("walk around and take another photo ", 9)
	long.Notes, long.EnglishNotes = nil, []string{strings.Repeat("x", 300)}
	long.TotalToeMm = interval(-1234.5, 12345.6)
	for name, r := range map[string]measure.Result{"sample": sampleResult(), "long": long, "empty": {}} {
		for _, line := range strings.Split(resultText(t, r), "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 80, "%s: %q", name, line)
			for _, c := range line {
				assert.True(t, strconv.IsPrint(c), "%s: %q", name, line)
			}
		}
	}
	assert.Contains(t, resultText(t, long), "front.jpg", "the end of a long name tells photos apart")
}

func TestTextShowsNoNumberWithoutInterval(t *testing.T) {
	r := sampleResult()
	r.TrackMm = measure.Quantity{Value: 719.6, Low95: math.NaN(), High95: math.NaN()}
	r.TotalToeMm = measure.Quantity{Value: 4.0413}
	text := resultText(t, r)
	assert.Contains(t, text, "track at hub height        not determined")
	assert.NotContains(t, text, "719.6")
	assert.Contains(t, text, "Total toe at the rim, at hub height: not determined")
	assert.NotContains(t, text, "instead of")
}

func TestCautions(t *testing.T) {
	wide, unseen, poor := sampleResult(), sampleResult(), sampleResult()
	wide.TotalToeMm = interval(4, 2.5)
	unseen.Wheels[1].RimSeen = false
	poor.ChiSquarePerDof = 4
	for _, c := range []struct {
		r    measure.Result
		want string
	}{
		{wide, "a screening, not"},
		{unseen, "The right rim was not seen"},
		{poor, "by a factor of 2.0"},
	} {
		text := resultText(t, c.r)
		assert.Contains(t, text, "\nCaution\n")
		assert.Contains(t, flat(text), c.want)
	}
}

func TestWrapAndShorten(t *testing.T) {
	assert.Equal(t, []string{"one two", "three", "fourfou", "rfour"}, wrap(" one two  three fourfourfour ", 7))
	assert.Empty(t, wrap("", 7))
	assert.Equal(t, "abc…xyz", shorten("abcdefuvwxyz", 7))
	assert.Equal(t, "abcdefg", shorten("abcdefg", 7))
}
