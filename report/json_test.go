package report

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/vision"
)

const schemaFile = "measurement.schema.json"

func compiledSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	s, err := c.Compile(schemaFile)
	require.NoError(t, err)
	return s
}

func validate(t *testing.T, text []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	return compiledSchema(t).Validate(doc)
}

func resultJSON(t *testing.T, r measure.Result) []byte {
	t.Helper()
	var w bytes.Buffer
	require.NoError(t, JSON(&w, r))
	return w.Bytes()
}

func TestResultFollowsSchema(t *testing.T) {
	bare := sampleResult()
	bare.Budget, bare.Advice, bare.Notes = nil, nil, nil
	bare.Photos = []measure.PhotoResult{{File: "a&b <1>.jpg", Width: 1, Height: 1}}
	for name, r := range map[string]measure.Result{"full": sampleResult(), "empty lists": bare} {
		text := resultJSON(t, r)
		assert.NoError(t, validate(t, text), name)
		assert.NotContains(t, string(text), "null", name)

		var back measure.Result
		require.NoError(t, json.Unmarshal(text, &back))
		assert.Equal(t, r.TotalToeMm, back.TotalToeMm, "%s: not rounded", name)
		assert.Equal(t, r.Photos[0].File, back.Photos[0].File, name)
	}
	assert.Contains(t, string(resultJSON(t, bare)), `"a&b <1>.jpg"`)
}

func TestRefusalFollowsSchema(t *testing.T) {
	refusal := &vision.Refusal{Code: "no_sheet", Photo: "front.jpg", Reason: "No reference sheet was found.", Remedy: "Lay one on the floor."}
	var w bytes.Buffer
	require.NoError(t, RefusalJSON(&w, refusal))
	assert.NoError(t, validate(t, w.Bytes()))
	assert.JSONEq(t, `{"refused": {"code": "no_sheet", "photo": "front.jpg",
		"reason": "No reference sheet was found.", "remedy": "Lay one on the floor."}}`, w.String())
}

func TestSchemaRejects(t *testing.T) {
	for name, spoil := range map[string]func(map[string]any){
		"a bare number":         func(m map[string]any) { m["total_toe_mm"] = 4.04 },
		"a missing quantity":    func(m map[string]any) { delete(m, "rim_total_toe_mm") },
		"a quantity in part":    func(m map[string]any) { delete(m["track_mm"].(map[string]any), "low_95") },
		"an unknown key":        func(m map[string]any) { m["total_toe_in"] = m["total_toe_mm"] },
		"a third wheel":         func(m map[string]any) { m["wheels"] = append(m["wheels"].([]any), m["wheels"].([]any)[0]) },
		"an unknown side":       func(m map[string]any) { m["wheels"].([]any)[0].(map[string]any)["side"] = "L" },
		"null for a list":       func(m map[string]any) { m["notes"] = nil },
		"a result with refusal": func(m map[string]any) { m["refused"] = map[string]any{} },
	} {
		var m map[string]any
		require.NoError(t, json.Unmarshal(resultJSON(t, sampleResult()), &m))
		spoil(m)
		text, err := json.Marshal(m)
		require.NoError(t, err)
		assert.Error(t, validate(t, text), name)
	}
}

func TestNothingIsWrittenOfANumberThatIsNone(t *testing.T) {
	r := sampleResult()
	r.TrackMm.Value = math.NaN()
	var w bytes.Buffer
	assert.Error(t, JSON(&w, r))
	assert.Empty(t, w.Bytes())
}

// schemaDef is the part of a schema that the next test reads.
type schemaDef struct {
	Ref        string               `json:"$ref"`
	Items      *schemaDef           `json:"items"`
	Required   []string             `json:"required"`
	Properties map[string]schemaDef `json:"properties"`
}

// Every key of the structs is in the schema, required, and the other way round;
// every measured number is a quantity; every quantity's key ends in its unit.
func TestSchemaAndStructsAgree(t *testing.T) {
	text, err := os.ReadFile(schemaFile)
	require.NoError(t, err)
	var schema struct {
		Defs map[string]schemaDef `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(text, &schema))

	// Numbers that are no measured quantities, with the reason.
	plain := map[string]string{
		"corner_rms_px":           "describes the fit",
		"tyre_rms_px":             "describes the fit",
		"rim_rms_px":              "describes the fit",
		"chi_square_per_dof":      "describes the fit",
		"standard_uncertainty":    "is an uncertainty, and its unit stands beside it",
		"sensitivity_mm_per_unit": "is a derivative",
		"contribution_mm":         "is an uncertainty",
		"standard_uncertainty_mm": "is an uncertainty",
		"coverage_factor":         "is of an uncertainty",
		"expanded_uncertainty_mm": "is an uncertainty",
		"share":                   "is a part of an uncertainty",
		"predicted_half_width_mm": "is a forecast",
	}
	unitless := []string{"chi_square_per_dof", "share", "standard_uncertainty", "sensitivity_mm_per_unit", "coverage_factor"}
	// Keys that older results of the same schema lack, or that say by missing.
	optional := []string{"unit", "standard_uncertainty", "sensitivity_mm_per_unit", "degrees_of_freedom", "expanded", "runout", "rear", "code", "params", "note_codes"}
	quantityType := reflect.TypeFor[measure.Quantity]()
	seen := map[string]bool{}

	var check func(def string, typ reflect.Type)
	check = func(def string, typ reflect.Type) {
		d, ok := schema.Defs[def]
		require.True(t, ok, def)
		var keys, always []string
		for _, field := range reflect.VisibleFields(typ) {
			if field.Anonymous {
				continue // its fields follow
			}
			key, _, _ := strings.Cut(field.Tag.Get("json"), ",")
			keys = append(keys, key)
			if def == "quantity" || !slices.Contains(optional, key) {
				always = append(always, key)
			}
			property, ok := d.Properties[key]
			if !assert.True(t, ok, "%s: no property for %s", def, key) {
				continue
			}
			switch inner := field.Type; {
			case inner == quantityType:
				assert.Equal(t, "#/$defs/quantity", property.Ref, key)
				assertUnit(t, key)
			case inner.Kind() == reflect.Float64:
				assert.Contains(t, plain, key, "%s: a measured number must be a quantity", def)
				seen[key] = true
				if !slices.Contains(unitless, key) {
					assertUnit(t, key)
				}
			case inner.Kind() == reflect.Slice && inner.Elem().Kind() == reflect.Struct:
				check(strings.TrimPrefix(property.Items.Ref, "#/$defs/"), inner.Elem())
			case inner.Kind() == reflect.Pointer && inner.Elem().Kind() == reflect.Struct:
				check(strings.TrimPrefix(property.Ref, "#/$defs/"), inner.Elem())
			}
		}
		assert.Subset(t, keys, d.Required, "%s", def)
		assert.Subset(t, d.Required, always, "%s: all other keys are always there", def)
		assert.Len(t, d.Properties, len(keys), "%s: no property without a field", def)
	}
	check("result", reflect.TypeFor[measure.Result]())
	assert.Len(t, seen, len(plain), "no exception without its use")

	quantityKeys := []string{"value", "standard_uncertainty", "low_95", "high_95"}
	assert.ElementsMatch(t, quantityKeys, schema.Defs["quantity"].Required)
}

func assertUnit(t *testing.T, key string) {
	t.Helper()
	assert.Regexp(t, `_(mm|deg|px)$`, key)
}
