package calib

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// exampleProfile is of an invented phone.
func exampleProfile() Profile {
	u := []float64{3, 1.5, 1.4, 4e-4, 1e-3, 4e-5, 5e-5}
	covariance := mat.NewSymDense(len(u), nil)
	for i := range u {
		for j := range i + 1 {
			correlation := math.Pow(-0.4, float64(i-j))
			covariance.SetSym(i, j, correlation*u[i]*u[j])
		}
	}
	device := Device{Make: "Aster", Model: "A1", Lens: "A1 back camera", FocalMm: 5.1, Focal35Mm: 26, Width: 4000, Height: 3000}
	p := NewProfile(device, Camera{F: 3080, Cx: 1985.5, Cy: 1512.25, K1: -0.03, K2: -0.1, P1: 1e-4, P2: 2e-4}, covariance)
	p.Created, p.Photos, p.RmsPx, p.PhotoHashes = "2026-05-01", 12, 0.02, []string{strings.Repeat("0f", 32)}
	return p
}

func TestProfileRoundTrip(t *testing.T) {
	p := exampleProfile()
	dir := t.TempDir()
	file := filepath.Join(dir, "a1.json")
	require.NoError(t, p.Save(file))
	require.NoError(t, p.Save(file), "an old file is replaced")
	q, err := LoadProfile(file)
	require.NoError(t, err)
	assert.Equal(t, &p, q)
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing is left over")

	c := compileSchema(t)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	document, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	require.NoError(t, err)
	require.NoError(t, c.Validate(document))

	assert.Error(t, p.Save(filepath.Join(dir, "nowhere", "a1.json")))
}

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	schema, err := c.Compile("camera.schema.json")
	require.NoError(t, err)
	return schema
}

// What is not a sound profile is refused in words.
func TestProfileRefused(t *testing.T) {
	for name, c := range map[string]struct {
		edit  func(*Profile)
		words string
	}{
		"newer":               {func(p *Profile) { p.Schema = "rimpair/camera/2" }, "newer rimpair: this one reads up to version 1"},
		"other file":          {func(p *Profile) { p.Schema = "rimpair/measurement/1" }, "not a camera profile"},
		"no version":          {func(p *Profile) { p.Schema = "rimpair/camera/one" }, "not a camera profile"},
		"no size":             {func(p *Profile) { p.Device.Width = 0 }, "no picture size"},
		"negative focal":      {func(p *Profile) { p.Values[0] = -3080 }, "past the picture"},
		"principal elsewhere": {func(p *Profile) { p.Values[1] = 9000 }, "past the picture"},
		"value missing":       {func(p *Profile) { p.Values = p.Values[1:] }, "6 values"},
		"short row":           {func(p *Profile) { p.Covariance[6] = p.Covariance[6][:6] }, "row 7"},
		"very short row":      {func(p *Profile) { p.Covariance[3] = p.Covariance[3][:1] }, "row 4"},
		"not symmetric":       {func(p *Profile) { p.Covariance[2][1] *= 2 }, "not symmetric"},
		"not definite":        {func(p *Profile) { p.Covariance[0][0] = 1e-6 }, "not positive definite"},
		"steady beyond all":   {func(p *Profile) { p.LensMotion = 0.5 }, "lens motion"},
		"zero variance":       {func(p *Profile) { p.Covariance[0][0] = 0 }, "not positive definite"},
		"other names":         {func(p *Profile) { p.Parameters[3] = "k9" }, "parameters"},
	} {
		t.Run(name, func(t *testing.T) {
			p := exampleProfile()
			c.edit(&p)
			file := filepath.Join(t.TempDir(), "p.json")
			require.NoError(t, p.Save(file))
			_, err := LoadProfile(file)
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.words)
			assert.Contains(t, err.Error(), file)
		})
	}
	for name, text := range map[string]string{
		"empty": "", "no JSON": "camera", "large": strings.Repeat(" ", 2<<20), "unknown field": `{"schema":"rimpair/camera/1","colour":"red"}`,
	} {
		t.Run(name, func(t *testing.T) {
			_, err := parseProfile([]byte(text))
			assert.Error(t, err)
		})
	}
}

// A newer profile is told from a damaged one even if nothing else in it is known.
func TestNewerProfile(t *testing.T) {
	_, err := parseProfile([]byte(`{"schema":"rimpair/camera/7","lens":["?"]}`))
	require.Error(t, err)
	assert.Contains(t, err.Error(), "version 7")
}

func TestProfileFor(t *testing.T) {
	p := exampleProfile()
	for name, c := range map[string]struct {
		edit  func(*Device)
		words string // empty: it fits
	}{
		"the same":         {func(*Device) {}, ""},
		"spelt otherwise":  {func(d *Device) { d.Make = "ASTER " }, ""},
		"half size":        {func(d *Device) { d.Width, d.Height = 2000, 1500 }, ""},
		"odd copy":         {func(d *Device) { d.Width, d.Height = 1601, 1201 }, ""},
		"without EXIF":     {func(d *Device) { *d = Device{Width: 4000, Height: 3000} }, ""},
		"rounded focal":    {func(d *Device) { d.FocalMm = 5.13 }, ""},
		"other make":       {func(d *Device) { d.Make = "Bellis" }, `"Bellis"`},
		"other model":      {func(d *Device) { d.Model = "A2" }, `"A2"`},
		"other lens":       {func(d *Device) { d.Lens = "A1 wide camera" }, "wide"},
		"other focal":      {func(d *Device) { d.FocalMm = 2.2 }, "2.2 mm"},
		"zoomed":           {func(d *Device) { d.Focal35Mm = 52 }, "zoom"},
		"zoomed digitally": {func(d *Device) { d.DigitalZoom = 1.5 }, "digital zoom of 1, and the photo was taken at 1.5"},
		"cropped":          {func(d *Device) { d.Height = 2250 }, "cropped"},
		"cropped, small":   {func(d *Device) { d.Width, d.Height = 2000, 1480 }, "cropped"},
		"turned":           {func(d *Device) { d.Width, d.Height = 3000, 4000 }, "turned by some program"},
		"turned and small": {func(d *Device) { d.Width, d.Height = 1200, 1600 }, "turned by some program"},
		"larger":           {func(d *Device) { d.Width, d.Height = 8000, 6000 }, "larger"},
		"square":           {func(d *Device) { d.Width = 3000 }, "cropped"},
	} {
		t.Run(name, func(t *testing.T) {
			d := p.Device
			c.edit(&d)
			q, err := p.For(d)
			if c.words != "" {
				require.Error(t, err)
				assert.Contains(t, err.Error(), c.words)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, d.Width, q.Device.Width)
			assert.Equal(t, exampleProfile(), p, "the profile itself stays")
		})
	}
}

// A profile scaled to a copy puts points where resizing puts them: pixel edges map to
// pixel edges. And its covariance is that of the scaled numbers.
func TestScaledProfileProjects(t *testing.T) {
	p := exampleProfile()
	q, err := p.For(Device{Width: 1000, Height: 750})
	require.NoError(t, err)
	for _, v := range []r3.Vec{{X: 0, Y: 0, Z: 1000}, {X: 300, Y: -200, Z: 800}, {X: -500, Y: 350, Z: 1000}} {
		whole, ok := p.Camera().Project(v)
		require.True(t, ok)
		small, ok := q.Camera().Project(v)
		require.True(t, ok)
		assert.InDelta(t, (whole.X+0.5)/4-0.5, small.X, 1e-9)
		assert.InDelta(t, (whole.Y+0.5)/4-0.5, small.Y, 1e-9)
	}
	for i := range 7 {
		shrunk := 1.0
		if i < 3 {
			shrunk = 4
		}
		assert.InEpsilon(t, p.StandardUncertainty(i)/shrunk, q.StandardUncertainty(i), 1e-12)
	}
	correlation := func(p *Profile, i, j int) float64 {
		return p.Covariance[i][j] / (p.StandardUncertainty(i) * p.StandardUncertainty(j))
	}
	assert.InDelta(t, correlation(&p, 0, 3), correlation(q, 0, 3), 1e-12)
	require.NoError(t, q.validate())
}

func TestPickProfile(t *testing.T) {
	dir := t.TempDir()
	save := func(name string, edit func(*Profile)) string {
		p := exampleProfile()
		edit(&p)
		file := filepath.Join(dir, name)
		require.NoError(t, p.Save(file))
		return file
	}
	d := exampleProfile().Device

	none, _, err := PickProfile(filepath.Join(dir, "none"), d)
	require.NoError(t, err, "a folder that is not there holds no profile")
	assert.Nil(t, none)

	save("wide.json", func(p *Profile) { p.Device.Lens, p.Device.FocalMm = "A1 wide camera", 2.2 })
	save("anonymous.json", func(p *Profile) { p.Device = Device{Width: 4000, Height: 3000} })
	none, _, err = PickProfile(dir, d)
	require.NoError(t, err)
	assert.Nil(t, none)

	save("coarse.json", func(p *Profile) {
		for i := range p.Covariance {
			for j := range p.Covariance[i] {
				p.Covariance[i][j] *= 4
			}
		}
	})
	older := save("older.json", func(*Profile) {})
	newer := save("newer.json", func(p *Profile) { p.Created = "2026-06-01" })
	got, file, err := PickProfile(dir, d)
	require.NoError(t, err)
	require.NotNil(t, got)
	assert.Equal(t, newer, file, "of two equally good ones the newer")
	require.NoError(t, os.Remove(newer))
	_, file, err = PickProfile(dir, d)
	require.NoError(t, err)
	assert.Equal(t, older, file, "the one that knows more")

	unnamed := d
	unnamed.Model = ""
	none, _, err = PickProfile(dir, unnamed)
	require.NoError(t, err)
	assert.Nil(t, none, "nothing says what phone it was")
	unnamed = d
	unnamed.Lens, unnamed.FocalMm = "", 0
	none, _, err = PickProfile(dir, unnamed)
	require.NoError(t, err)
	assert.Nil(t, none, "nor through which of its lenses")

	require.NoError(t, os.WriteFile(filepath.Join(dir, "broken.json"), []byte("{"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("{"), 0o600))
	got, _, err = PickProfile(dir, d)
	assert.ErrorContains(t, err, "broken.json")
	assert.NotNil(t, got, "a broken file does not hide the others")
}

func TestProfileFolder(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", "/somewhere")
	folder, err := ProfileFolder()
	require.NoError(t, err)
	assert.Equal(t, "/somewhere/rimpair/cameras", folder)
}

func TestProfileFileIsPlain(t *testing.T) {
	p := exampleProfile()
	text, err := json.Marshal(p)
	require.NoError(t, err)
	var plain map[string]any
	require.NoError(t, json.Unmarshal(text, &plain))
	assert.Equal(t, "rimpair/camera/1", plain["schema"])
	assert.Equal(t, []any{"f", "cx", "cy", "k1", "k2", "p1", "p2"}, plain["parameters"])
}
