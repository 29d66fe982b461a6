package job

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func compiledSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	for urn, file := range map[string]string{"measurement:1": "measurement", "steering:1": "adjust-steering", "adjustment:1": "adjust"} {
		raw, err := os.Open("../" + file + ".schema.json")
		require.NoError(t, err)
		doc, err := jsonschema.UnmarshalJSON(raw)
		require.NoError(t, err)
		require.NoError(t, raw.Close())
		require.NoError(t, c.AddResource("urn:rimpair:"+urn, doc))
	}
	schema, err := c.Compile("job.schema.json")
	require.NoError(t, err)
	return schema
}

func followsSchema(t *testing.T, record []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(record))
	require.NoError(t, err)
	return compiledSchema(t).Validate(doc)
}

func record(t testing.TB, dir string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(dir, recordName))
	require.NoError(t, err)
	return content
}

func TestRecordFollowsItsSchema(t *testing.T) {
	require.NoError(t, followsSchema(t, record(t, newJob(t))))
	require.NoError(t, followsSchema(t, record(t, filled(t))))
}

// Schema and program refuse the same records.
func TestSchemaAndProgramAgreeOnWhatIsWrong(t *testing.T) {
	whole := string(record(t, filled(t)))
	sum := whole[strings.Index(whole, `"sha256": "`)+11:][:64]
	for name, change := range map[string][2]string{
		"nothing":              {`"x"`, `"x"`},
		"unknown key":          {`"created"`, `"painted": "red", "created"`},
		"unknown check":        {`"spokes"`, `"bell"`},
		"unknown result":       {`"failed"`, `"perhaps"`},
		"unknown stage":        {`"as_found"`, `"as_lost"`},
		"unknown rod":          {`"tie_rod"`, `"fishing_rod"`},
		"nothing turned":       {"{\n            \"rod\": \"tie_rod\",\n            \"longer_by_turns\": -0.5\n          }", ""},
		"path out":             {`"photos/02-as-found/rear.jpg"`, `"photos/02-as-found/../rear.jpg"`},
		"path up":              {`"photos/02-as-found/rear.jpg"`, `"../rear.jpg"`},
		"absolute path":        {`"photos/02-as-found/rear.jpg"`, `"/etc/passwd"`},
		"backslash":            {`"photos/02-as-found/rear.jpg"`, `"photos/02-as-found/a\\b.jpg"`},
		"hidden":               {`"photos/02-as-found/rear.jpg"`, `"photos/02-as-found/.rear.jpg"`},
		"elsewhere":            {`"photos/02-as-found/rear.jpg"`, `"programs/rear.jpg"`},
		"no sum":               {sum, "12"},
		"time":                 {`"2026-03-04T12:00:00Z"`, `"yesterday"`},
		"empty entry":          {"\"at\": \"2026-03-04T12:00:00Z\",\n      \"note\": \"the rider came by\"", `"at": "2026-03-04T12:00:00Z"`},
		"number as text":       {`"rim_mm": 406`, `"rim_mm": "406"`},
		"two kinds in one":     {"\"note\": \"the rider came by\"", `"check": {"id": "spokes", "result": "ok"}, "adjustment": {"turned": [{"rod": "tie_rod", "longer_by_turns": 1}]}`},
		"a toe without spread": {`"standard_uncertainty": 0.5`, `"standard_uncertainty": -1`},
	} {
		t.Run(name, func(t *testing.T) {
			changed := strings.Replace(whole, change[0], change[1], 1)
			_, damage, err := decode([]byte(changed))
			require.NoError(t, err)
			if changed == whole {
				require.Equal(t, "nothing", name)
				assert.Empty(t, damage)
				return
			}
			assert.NotEmpty(t, damage)
			assert.Error(t, followsSchema(t, []byte(changed)))
		})
	}
}

// The lists in the schema are those of the program.
func TestSchemaLists(t *testing.T) {
	var s struct {
		Properties struct{ Schema struct{ Const string } }
		Defs       map[string]struct {
			Properties map[string]struct {
				Enum  []string
				Items struct {
					Properties map[string]struct{ Enum []string }
				}
			}
		} `json:"$defs"`
	}
	raw, err := os.ReadFile("job.schema.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &s))
	assert.Equal(t, Schema, s.Properties.Schema.Const)
	assert.Equal(t, fmt.Sprint(Stages()), fmt.Sprint(s.Defs["measurement"].Properties["stage"].Enum))
	assert.Equal(t, fmt.Sprint(Results()), fmt.Sprint(s.Defs["check"].Properties["result"].Enum))
	assert.Equal(t, Rods(), s.Defs["adjustment"].Properties["turned"].Items.Properties["rod"].Enum)
	var ids []string
	for _, c := range Checks() {
		ids = append(ids, c.ID)
	}
	assert.Equal(t, ids, s.Defs["check"].Properties["id"].Enum)
}

func TestNamesOfPhotos(t *testing.T) {
	dir := newJob(t)
	names := map[string]string{
		"front.jpg":                     "photos/01-note/front.jpg",
		"FRONT.JPG":                     "photos/01-note/FRONT-2.JPG",
		"vorn links (2).heic":           "photos/01-note/vorn links _2_.heic",
		"größe.jpg":                     "photos/01-note/größe.jpg",
		"a:b|c?.jpg":                    "photos/01-note/a_b_c_.jpg",
		".hidden":                       "photos/01-note/file.hidden",
		"x\x1b[31m.png":                 "photos/01-note/x__31m.png",
		"-rf.jpg":                       "photos/01-note/rf.jpg",
		strings.Repeat("l", 200) + ".a": "photos/01-note/" + strings.Repeat("l", 60) + ".a",
	}
	require.NoError(t, Update(dir, func(d *Draft) error {
		e := Entry{At: noon}
		for _, name := range []string{"front.jpg", "FRONT.JPG", "vorn links (2).heic", "größe.jpg", "a:b|c?.jpg", ".hidden", "x\x1b[31m.png", "-rf.jpg", strings.Repeat("l", 200) + ".a"} {
			f, err := d.AddPhoto(&e, photo(t, name, name))
			require.NoError(t, err)
			assert.Equal(t, names[name], f.File)
			assert.Equal(t, name, f.Name)
			e.Photos = append(e.Photos, f)
		}
		d.Append(e)
		return nil
	}))
	mustRead(t, dir)
}
