package report

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report/job"
)

// validateBy checks a text against one of the schemas, which refer to each other.
func validateBy(t *testing.T, file string, text []byte) error {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	ids := map[string]string{
		"measurement.schema.json": "urn:rimpair:measurement:1", "adjust.schema.json": "urn:rimpair:adjustment:1", "adjust-steering.schema.json": "urn:rimpair:steering:1",
		"review.schema.json": "urn:rimpair:review:1",
	}
	for name, id := range ids {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
		require.NoError(t, err)
		require.NoError(t, c.AddResource(id, doc))
	}
	s, err := c.Compile(ids[file])
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return s.Validate(doc)
}

// sampleSteering tells everything that two rods can be told.
func sampleSteering() measure.Steering {
	k := func(v float64) *measure.Known { return &measure.Known{Value: v, PlusMinus: 2} }
	return measure.Steering{
		Schema: measure.SteeringSchema, Kind: measure.TwoRods, Rods: "behind",
		RodThread: measure.RodThread{Thread: "M6", Ends: measure.RightAndLeft, LeftThread: "outer", EndStep: "half", EngagedMm: 14},
		ArmMm:     k(70), ArmInwardDeg: k(12), KingpinDistanceMm: k(580), KingpinInclinationDeg: k(12), CasterDeg: k(8),
		InnerEnds:    &measure.InnerEnds{ApartMm: k(60), ForwardMm: k(5), AboveMm: k(0), AxisForwardMm: k(70)},
		WheelsOffDeg: &measure.Known{Value: 1, PlusMinus: 0.5},
		MmPerTurn:    &measure.Estimate{Value: 18, StandardUncertainty: 0.8},
		Record:       []measure.RecordEntry{{ToeMm: measure.Estimate{Value: 14, StandardUncertainty: 0.3}, ThenLongerByTurns: -0.5}},
		Target:       &measure.Target{AimMm: 1, LowMm: 0, HighMm: 2}, Sprung: true, RiderOn: true,
	}
}

// withBarRod tells what the other kind can be told.
func withBarRod() measure.Steering {
	s := sampleSteering()
	k := s.ArmMm
	s.Kind, s.InnerEnds, s.LeftThread, s.MmPerTurn, s.Record = measure.BarAndCrossRod, nil, "left", nil, nil
	s.BarRod = &measure.BarRod{
		Wheel: "left", Rods: "behind", RodThread: measure.RodThread{Thread: "M8", Ends: measure.RightAndLeft, LeftThread: "bar", EndStep: "whole", EngagedMm: 10},
		ArmMm: k, ArmInwardDeg: k, ToMiddleMm: &measure.Known{Value: 240}, ForwardMm: k, AboveMm: k, AxisForwardMm: k,
	}
	return s
}

// adviceCases are answers of every kind, by what they are.
func adviceCases(t *testing.T) map[string]measure.RodAdvice {
	t.Helper()
	one := measure.Steering{Rods: "behind", RodThread: measure.RodThread{Thread: "M6", LeftThread: "left"}, ArmMm: &measure.Known{Value: 70}}
	with := func(change func(*measure.Steering)) measure.Steering {
		s := one
		change(&s)
		return s
	}
	cases := map[string]measure.RodAdvice{}
	for _, c := range []struct {
		name     string
		toeMm, u float64
		s        measure.Steering
	}{
		{"turn one rod", 4.3, 0.2, one},
		{"turn, direction not told", -3, 0.2, with(func(s *measure.Steering) { s.LeftThread = "" })},
		{"turn an end", -3, 0.2, with(func(s *measure.Steering) { s.Ends = measure.BothRight })},
		{"turn two rods", 4.3, 0.2, sampleSteering()},
		{"turn with the handlebar's rod", 4.3, 0.2, withBarRod()},
		{"turn the cross rod alone", 4.3, 0.2, with(func(s *measure.Steering) { s.Kind = measure.BarAndCrossRod })},
		{"leave", 1.1, 0.2, one},
		{"leave, finer than a turn", 1.95, 0.1, with(func(s *measure.Steering) { s.Ends = measure.BothRight })},
		{"measure", 1.1, 1, one},
		{"measure with the rider on", 4.3, 0.2, with(func(s *measure.Steering) { s.Sprung = true })},
		{"learn", 4.3, 0.2, measure.Steering{RodThread: measure.RodThread{Thread: "1 mm"}}},
		{"limit by thread", -9, 0.2, with(func(s *measure.Steering) { s.EngagedMm = 6.1 })},
		{"limit by steps", 2.2, 0.1, with(func(s *measure.Steering) { s.Ends = measure.BothRight })},
	} {
		r := sampleResult()
		r.TotalToeMm = quantity(c.toeMm, c.u)
		a, err := measure.AdviseRods(r, c.s)
		require.NoError(t, err, c.name)
		word, _, _ := strings.Cut(c.name, " ")
		assert.Equal(t, strings.TrimSuffix(word, ","), a.Answer, c.name)
		cases[c.name] = *a
	}
	return cases
}

func adviceText(t *testing.T, a measure.RodAdvice) string {
	t.Helper()
	var w bytes.Buffer
	require.NoError(t, AdjustText(&w, a))
	return w.String()
}

func TestAdviceFollowsSchema(t *testing.T) {
	for name, a := range adviceCases(t) {
		var w bytes.Buffer
		require.NoError(t, AdjustJSON(&w, a), name)
		assert.NoError(t, validateBy(t, "adjust.schema.json", w.Bytes()), name)
		assert.NotContains(t, w.String(), "null", name)
		var back measure.RodAdvice
		require.NoError(t, json.Unmarshal(w.Bytes(), &back))
		assert.Equal(t, a.ToeMm, back.ToeMm, "%s: not rounded", name)
	}
}

func TestDescriptionsFollowSchema(t *testing.T) {
	for name, s := range map[string]measure.Steering{"two rods": sampleSteering(), "handlebar's rod": withBarRod(), "empty": {}} {
		text, err := json.Marshal(s)
		require.NoError(t, err)
		assert.NoError(t, validateBy(t, "adjust-steering.schema.json", text), "%s: %s", name, text)
	}
	for _, text := range []string{`{"arm": 70}`, `{"arm_mm": 70}`, `{"kind": "three_rods"}`, `{"rods": ""}`, `{"left_thread": "bar"}`, `{"target": {"aim_mm": 1}}`} {
		assert.Error(t, validateBy(t, "adjust-steering.schema.json", []byte(text)), text)
	}
}

// Every key of the structs is in the schema, and the other way round.
func TestSteeringSchemaAndStructsAgree(t *testing.T) {
	var schema struct {
		Defs map[string]schemaDef `json:"$defs"`
	}
	raw, err := os.ReadFile("adjust-steering.schema.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &schema))
	steering := schema.Defs["steering"]
	for _, pair := range []struct {
		def schemaDef
		typ reflect.Type
	}{
		{steering, reflect.TypeFor[measure.Steering]()},
		{steering.Properties["bar_rod"], reflect.TypeFor[measure.BarRod]()},
		{steering.Properties["inner_ends"], reflect.TypeFor[measure.InnerEnds]()},
		{schema.Defs["target"], reflect.TypeFor[measure.Target]()},
	} {
		assert.ElementsMatch(t, jsonKeys(pair.typ), slices.Collect(maps.Keys(pair.def.Properties)), pair.typ)
	}
}

// jsonKeys of a struct, with those of what it embeds.
func jsonKeys(typ reflect.Type) (keys []string) {
	for i := range typ.NumField() {
		if field := typ.Field(i); field.Anonymous {
			keys = append(keys, jsonKeys(field.Type)...)
		} else {
			key, _, _ := strings.Cut(field.Tag.Get("json"), ",")
			keys = append(keys, key)
		}
	}
	return keys
}

func TestAdviceTellsTheMechanic(t *testing.T) {
	cases := adviceCases(t)
	for name, wanted := range map[string][]string{
		"turn one rod": {
			"Turn the tie rod, then measure again.",
			"The tie rod: make it SHORTER by 0.33 turn, which is 2 flats of the hexagon or 120 degrees.",
			"Turn the rod so that its top moves toward the REAR of the vehicle.",
			"the middles of its two joints are then 0.67 mm closer together",
			"Total toe as measured: 4.30 mm toe-in", "95 % interval 3.91 to 4.69 mm toe-in (± 0.40 mm)", "Wanted: 1 mm toe-in, allowed 0 mm to 2 mm toe-in",
			"Total toe to expect afterwards: 1.", "by the linkage as described",
			"At least the thread's diameter, 6.0 mm, has to stay", "equally far at both ends", "never past a rod's mark", "both lock nuts",
			"maker's torque", "experienced or licensed mechanic", "Ride slowly first", "If the front is sprung",
			"steering arm's angle inward: 15 ± 15°",
		},
		"turn, direction not told":      {"LONGER", "which end has the left-hand thread", "it is right if more thread shows at both ends"},
		"turn an end":                   {"take one end off its arm, screw it out by that much"},
		"turn two rods":                 {"the left rod and the right rod", "This also centres the steering", "1.00 ± 0.57° to the right now", "the record", "what was learned before"},
		"turn with the handlebar's rod": {"The handlebar's rod: make it", "This also centres"},
		"turn the cross rod alone":      {"The handlebar's rod sets only where the handlebar stands"},
		"leave":                         {"Within target: leave it.", "more than 99 %"},
		"leave, finer than a turn":      {"The smallest step"},
		"measure":                       {"measure first", "± 1.0 mm or less is needed to judge this target; it is ± 2.0 mm", "Turn both front wheels by half a turn on the spot", "Forecast: ± 0.26 mm"},
		"measure with the rider on":     {"with the rider, or as much weight, on the seat"},
		"learn":                         {"measure the steering arm", "LONGER by ½ turn, which is 3 flats of the hexagon or 180 degrees", "--before and --turned", "it is a trial"},
		"limit by thread":               {"turn nothing yet", "only 5.0 mm of thread would stay in each end, and at least 6.0 mm"},
		"limit by steps":                {"farther from the aim"},
	} {
		text := flat(adviceText(t, cases[name]))
		for _, want := range wanted {
			assert.Contains(t, text, want, name)
		}
	}
	for name, a := range cases {
		text := flat(adviceText(t, a))
		assert.Contains(t, text, "Steering is safety-critical", name)
		assert.Contains(t, text, "never past a rod's mark", name)
		assert.NotContains(t, strings.ToLower(text), "clockwise", name)
		if a.Answer != measure.AnswerTurn && a.Answer != measure.AnswerLearn {
			assert.NotContains(t, text, "make it", "%s: nothing is to be turned", name)
			assert.NotContains(t, text, "expect afterwards", name)
		}
	}
}

// Every quantity of the JSON stands in the text as rounding makes it.
func TestAdviceAndJSONSayTheSame(t *testing.T) {
	for name, a := range adviceCases(t) {
		text := flat(adviceText(t, a))
		shown := []measure.Quantity{a.ToeMm}
		if a.Answer == measure.AnswerTurn {
			shown = append(shown, a.Expected.ToeMm, *a.MmPerTurn)
		}
		for _, q := range shown {
			f := round(q)
			for _, figure := range []string{f.Value, f.Low, f.High} {
				assert.Contains(t, text, strings.TrimPrefix(figure, "-"), name)
			}
		}
	}
}

func TestAdviceFitsATerminal(t *testing.T) {
	for name, a := range adviceCases(t) {
		for _, line := range strings.Split(adviceText(t, a), "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 80, "%s: %q", name, line)
		}
	}
}

func TestTurnAmounts(t *testing.T) {
	for turns, want := range map[float64]string{
		1.0 / 24:  "0.04 turn, which is ¼ flat of the hexagon or 15 degrees",
		0.25:      "0.25 turn, which is 1½ flats of the hexagon or 90 degrees",
		0.5:       "½ turn, which is 3 flats of the hexagon or 180 degrees",
		1:         "1 turn, which is 6 flats of the hexagon or 360 degrees",
		35.0 / 24: "1.46 turns, which is 8¾ flats of the hexagon or 525 degrees",
		2.5:       "2½ turns, which is 15 flats of the hexagon or 900 degrees",
	} {
		assert.Equal(t, want, English().turnAmount(measure.RodTurn{Turns: turns, Flats: 6 * turns, Degrees: 360 * turns}))
	}
}

// Advice that a job keeps is worded in the report's language, to its last figure; of an
// older one the English words are all there is.
func TestStoredAdviceIsWordedAnew(t *testing.T) {
	german, err := NewLanguage("de")
	require.NoError(t, err)
	b := &paperWriter{l: german}
	for name, a := range adviceCases(t) {
		var w bytes.Buffer
		require.NoError(t, AdjustJSON(&w, a))
		got := b.advised(&job.Adjustment{Advice: w.Bytes()})
		assert.False(t, got.English, name)
		assert.Equal(t, german.say("done.advised", "summary", strings.Join(append([]string{german.summary(a)}, german.instructions(a)...), " ")), got.Text, name)
		assert.NotRegexp(t, `\b(the|rod|turn|toe|adjust\.|[0-9]+\.[0-9])\b`, got.Text, name)
	}
	old := b.advised(&job.Adjustment{Advice: json.RawMessage(`{"summary": "Turn it.", "instructions": ["Make it longer."]}`)})
	assert.Equal(t, line{Text: "Geraten: Turn it. Make it longer.", English: true}, old)
	assert.Empty(t, b.advised(&job.Adjustment{}))
	for _, odd := range []string{`{"summary": "x", "schema": "rimpair/adjustment/1", "answer": "turn", "turns": [{"turns": -1e300, "flats": -3}]}`, `{"summary": "x", "schema": "rimpair/adjustment/1", "answer": "turn", "wheels_off_deg": {}}`} {
		assert.NotPanics(t, func() { b.advised(&job.Adjustment{Advice: json.RawMessage(odd)}) })
	}
}
