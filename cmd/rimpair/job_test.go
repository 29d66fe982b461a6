package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report/job"
)

// succeeds runs a command line that must succeed and returns what it says.
func succeeds(t *testing.T, args ...string) string {
	t.Helper()
	code, stdout, stderr := cli(args...)
	require.Equal(t, exitDone, code, "%v: %s", args, stderr)
	require.Empty(t, stderr)
	return stdout
}

// unwrapped has its lines joined.
func unwrapped(text string) string { return strings.Join(strings.Fields(text), " ") }

// fails runs a command line that must fail, with one line on stderr.
func fails(t *testing.T, args ...string) string {
	t.Helper()
	code, stdout, stderr := cli(args...)
	require.Equal(t, exitFailed, code, args)
	require.Empty(t, stdout, args)
	require.Regexp(t, `^rimpair: [^\n]+\n$`, stderr, args)
	return stderr
}

func newTestJob(t *testing.T, args ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "trike-7")
	succeeds(t, append([]string{"job", "new", dir}, args...)...)
	return dir
}

const allChecks = "wheel_axles,spokes,rim_runout,kingpins,wheel_bearings,rod_ends,suspension_bolts,rear_wheel,rear_suspension,frame_cracks,tyre_pressures,handlebar_straight"

// From the first check to a copy sent to somebody else, as a person works.
func TestJobFromEndToEnd(t *testing.T) {
	dir := newTestJob(t, "--rim", "305", "--customer", "A. Rider", "--reference", "2026-41")
	said := succeeds(t, "job", "show", dir)
	assert.Contains(t, said, "Check what is not checked yet")
	assert.Contains(t, said, "2026-41, for A. Rider")

	succeeds(t, "job", "add", dir, "--check", allChecks+"=ok")
	photos := samplePhotos("front", "rear", "above")
	said = succeeds(t, "job", "add", dir, "--check", "spokes=failed", "--note", "two are loose", photos[0])
	const alarm = "!! DO NOT RIDE, and a measured toe means nothing: \"spokes whole and evenly\n"
	assert.True(t, strings.HasPrefix(said, alarm), said)
	said = succeeds(t, append([]string{"job", "add", dir, "--valves", "top"}, photos...)...)
	assert.True(t, strings.HasPrefix(said, alarm), "at the top of everything: %s", said)

	// What is recorded is what measure says.
	s, err := job.Inspect(dir)
	require.NoError(t, err)
	require.Empty(t, s.Damage)
	last := len(s.Entries) - 1
	m := s.Entries[last].Measurement
	require.NotNil(t, m)
	assert.Equal(t, job.AsFound, m.Stage)
	assertCovers(t, "total toe", m.TotalToeMm, sampleTruth(t).TotalToeMm)
	raw, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(m.Result.File)))
	require.NoError(t, err)
	requireSchema(t, string(raw))
	require.Len(t, s.Entries[last].Photos, 3)
	for i, p := range photos {
		want, err := os.ReadFile(p)
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(s.Entries[last].Photos[i].File)))
		require.NoError(t, err)
		assert.Equal(t, want, got, "as it came")
	}

	store := filepath.Dir(dir)
	assert.Regexp(t, `  1 CHECK NOT IN ORDER; [0-9-]{10}; as found: `, succeeds(t, "job", "list", store))
	archive := filepath.Join(t.TempDir(), "sent.zip")
	said = succeeds(t, "job", "export", dir, "-o", archive)
	assert.True(t, strings.HasPrefix(said, alarm), said)
	fails(t, "job", "export", dir, "-o", archive) // is there already

	other := filepath.Join(t.TempDir(), "store")
	said = succeeds(t, "job", "add", archive, other)
	assert.True(t, strings.HasPrefix(said, alarm), said)
	copied, err := job.Inspect(filepath.Join(other, "trike-7"))
	require.NoError(t, err)
	assert.Empty(t, copied.Damage)
	assert.Equal(t, s.Results, copied.Results)

	// A photo sent that way measures the same.
	var paths []string
	for _, p := range copied.Entries[last].Photos {
		paths = append(paths, filepath.Join(other, "trike-7", filepath.FromSlash(p.File)))
	}
	r := measured(t, append(paths, "--rim", "305")...)
	assert.Equal(t, m.TotalToeMm, r.TotalToeMm)

	// The report has what the record has.
	base := filepath.Join(t.TempDir(), "toe")
	said = succeeds(t, "job", "report", dir, "-o", base, "--language", "de", "--paper", "letter")
	assert.Regexp(t, `^!! NICHT FAHREN[^\n]*\n`, said)
	assert.True(t, strings.HasSuffix(said, "\n"+base+".html\n"+base+".pdf\n"), said)
	html, err := os.ReadFile(base + ".html")
	require.NoError(t, err)
	assert.Contains(t, string(html), "NICHT FAHREN")
	assert.Equal(t, 2, strings.Count(string(html), "ohne Aussage, denn nicht in Ordnung war"), "beside the result and the number in the table of stages")
	assert.Contains(t, string(html), fmt.Sprintf(`<data value="%v">`, m.TotalToeMm.Value))
	assert.Equal(t, 5, strings.Count(string(html), `"photo"`), "three marked photos, the view from above, one of a check")
	assert.Contains(t, string(html), ">linkes Rad</text>", "words on the pictures are the report's")
	pdf, err := os.ReadFile(base + ".pdf")
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(string(pdf), "%PDF-"))
	succeeds(t, "job", "report", dir)
	shown := succeeds(t, "job", "show", dir)
	assert.NotContains(t, shown, "not in the record", "the report belongs there")

	said = succeeds(t, "job", "add", dir, "--check", "spokes=ok")
	assert.NotContains(t, said, "!!")
	assert.Contains(t, unwrapped(said), "measure the vehicle again as it stands now")
	said = succeeds(t, "job", "add", dir, "--turned", "0.5 shorter")
	assert.Contains(t, said, "Measure what the turn has done")
	assert.Contains(t, said, "tie rod shorter, turns: 0.5")
	requireRecordSchema(t, dir)
}

// requireRecordSchema checks a job's record against its schema and those that it
// refers to.
func requireRecordSchema(t *testing.T, dir string) {
	t.Helper()
	read := func(name string) any {
		f, err := os.Open(name)
		require.NoError(t, err)
		defer f.Close()
		doc, err := jsonschema.UnmarshalJSON(f)
		require.NoError(t, err)
		return doc
	}
	c := jsonschema.NewCompiler()
	for urn, file := range map[string]string{"measurement:1": "measurement", "steering:1": "adjust-steering", "adjustment:1": "adjust", "job:4": "job/job"} {
		require.NoError(t, c.AddResource("urn:rimpair:"+urn, read("../../report/"+file+".schema.json")))
	}
	schema, err := c.Compile("urn:rimpair:job:4")
	require.NoError(t, err)
	require.NoError(t, schema.Validate(read(filepath.Join(dir, "job.json"))))
}

// record makes a job of measurements without photos.
func record(t *testing.T, dir string, entries ...job.Entry) {
	t.Helper()
	require.NoError(t, job.Update(dir, func(d *job.Draft) error {
		for _, e := range entries {
			if e.Measurement != nil {
				m := *e.Measurement
				wheel := func(side string) measure.WheelResult {
					return measure.WheelResult{Side: side, RimDiameterMm: measure.Quantity{Value: 420, StandardUncertainty: 0.4, Low95: 419, High95: 421}}
				}
				content, err := json.Marshal(measure.Result{Schema: "rimpair/measurement/1", TotalToeMm: m.TotalToeMm, RimTotalToeMm: m.RimTotalToeMm,
					Wheels: []measure.WheelResult{wheel("left"), wheel("right")}})
				if err != nil {
					return err
				}
				if m.Result, err = d.AddResult(&e, content); err != nil {
					return err
				}
				e.Measurement = &m
			}
			d.Append(e)
		}
		return nil
	}))
}

func state(stage job.Stage, toe, u float64) job.Entry {
	q := measure.Quantity{Value: toe, StandardUncertainty: u, Low95: toe - 1.96*u, High95: toe + 1.96*u}
	return job.Entry{At: time.Now(), Measurement: &job.Measurement{Stage: stage, TotalToeMm: q, RimTotalToeMm: q}}
}

func turn(turns float64) job.Entry {
	return job.Entry{At: time.Now(), Adjustment: &job.Adjustment{Turned: []job.Turned{{Rod: "tie_rod", LongerByTurns: turns}}}}
}

func TestJobSaysHowALockNutMovedTheToe(t *testing.T) {
	dir := newTestJob(t)
	succeeds(t, "job", "add", dir, "--check", allChecks+"=ok")
	record(t, dir, state(job.AsFound, 6, 0.1), turn(-1), state(job.Adjusted, 1, 0.1), state(job.FirstLockNut, 1.6, 0.1))
	said := unwrapped(succeeds(t, "job", "show", dir))
	// ± 1.96 * 0.1 * sqrt(2) = 0.277, rounded up
	assert.Contains(t, said, "First lock nut tight: total toe moved by 0.60 mm toward toe-in, more than its interval of ± 0.28 mm.")
	assert.Contains(t, said, "Tighten the second lock nut")
	assert.Contains(t, said, "6.00 mm toe-in ± 0.20 mm → 1.60 mm toe-in ± 0.20 mm")

	record(t, dir, state(job.SecondLockNut, 1.5, 0.1))
	said = unwrapped(succeeds(t, "job", "show", dir))
	assert.Contains(t, said, "Second lock nut tight: total toe moved by 0.10 mm toward toe-out ± 0.28 mm.")
	assert.Contains(t, said, "no more than the measurements can tell")
}

// The next job of the same vehicle knows what this one learned, and advises by it.
func TestVehicleIsKeptForTheNextTime(t *testing.T) {
	profile := filepath.Join(t.TempDir(), "phone.json")
	kept := calib.NewProfile(calib.Device{Make: "Demo", Model: "Phone 101", Width: 4032, Height: 3024}, calib.Camera{F: 3000, Cx: 2016, Cy: 1512}, mat.NewDiagDense(7, []float64{9, 9, 9, 1e-4, 1e-4, 1e-6, 1e-6}))
	kept.Created, kept.Photos, kept.RmsPx = "2026-01-02", 12, 0.1
	require.NoError(t, kept.Save(profile))
	dir := newTestJob(t, "--rim", "406", "--thread", "M6", "--track", "720+-2", "--wheelbase", "1010", "--vehicle", "blue one", "--customer", "A. Rider", "--camera", profile)
	succeeds(t, "job", "add", dir, "--check", allChecks+"=ok")
	record(t, dir, state(job.AsFound, 9, 0.1), turn(-2), state(job.Adjusted, 1, 0.1))

	next := filepath.Join(t.TempDir(), "next")
	said := unwrapped(succeeds(t, "job", "new", next, "--from", dir, "--reference", "2027-3"))
	assert.Contains(t, said, "a turn longer makes 4.0")
	s, err := job.Inspect(next)
	require.NoError(t, err)
	assert.Empty(t, s.Damage)
	v := s.Vehicle
	assert.Equal(t, "blue one", v.Name)
	assert.Equal(t, 406.0, v.RimMm)
	assert.Equal(t, measure.Known{Value: 720, PlusMinus: 2}, *v.TrackMm)
	assert.Equal(t, measure.Known{Value: 1010}, *v.WheelbaseMm)
	assert.Equal(t, "M6", v.Steering.Thread)
	assert.InDelta(t, 4, v.Steering.MmPerTurn.Value, 1e-9)
	assert.Equal(t, "phone.json", v.CameraProfile.Name)
	assert.Equal(t, "A. Rider", s.Customer)
	assert.Empty(t, s.Entries, "what was done then is in that job")

	succeeds(t, "job", "add", next, "--check", allChecks+"=ok")
	record(t, next, state(job.AsFound, 5, 0.1))
	said = unwrapped(succeeds(t, "job", "show", next))
	assert.Contains(t, said, "Turn the tie rod, then measure again.")
	assert.Contains(t, said, "make it SHORTER by 1 turn", "(1 - 5) / 4")
	assert.Contains(t, said, "Steering is safety-critical")

	// What was advised is kept with what was turned.
	succeeds(t, "job", "add", next, "--turned", "1 shorter")
	s, err = job.Inspect(next)
	require.NoError(t, err)
	assert.Contains(t, string(s.Entries[len(s.Entries)-1].Adjustment.Advice), "make it SHORTER by 1 turn")
	requireRecordSchema(t, next)
}

// What must not be overlooked is said even where the photos are refused and nothing is
// recorded.
func TestRefusedPhotosOfAJobKeepItsAlarms(t *testing.T) {
	dir := newTestJob(t, "--rim", "305")
	succeeds(t, "job", "add", dir, "--check", "rear_wheel=failed")
	code, stdout, stderr := cli("job", "add", dir, writeText(t, t.TempDir(), "front.jpg", "no photo"))
	assert.Equal(t, exitRefused, code)
	assert.Regexp(t, `^!! DO NOT RIDE: [^\n]*\n`, stdout)
	assert.Contains(t, stderr, "[not_a_photo]")
	s, err := job.Inspect(dir)
	require.NoError(t, err)
	assert.Len(t, s.Entries, 1)
}

// Photos of several positions are one stage, recorded as they were measured. The same
// photos named as two positions only show that the record is whole.
func TestJobTakesPositions(t *testing.T) {
	dir := newTestJob(t, "--rim", "305")
	positions := []string{"--at", "top=" + strings.Join(samplePhotos("front", "above"), ","), "--at", "bottom=" + samplePhotos("rear")[0]}
	said := unwrapped(succeeds(t, append([]string{"job", "add", dir}, positions...)...))
	assert.Contains(t, said, "valves in turn top, bottom: free of run-out; 3 photos")

	s, err := job.Inspect(dir)
	require.NoError(t, err)
	require.Empty(t, s.Damage)
	require.Len(t, s.Entries, 1)
	e, r := s.Entries[0], s.Results[0]
	assert.Equal(t, []string{"top", "top", "bottom"}, e.Measurement.Positions)
	assert.Equal(t, r.TotalToeMm, e.Measurement.TotalToeMm)
	require.Len(t, r.Runout, 2)
	for i, p := range e.Photos {
		assert.Equal(t, r.Photos[i].File, p.Name)
	}
	requireRecordSchema(t, dir)

	base := filepath.Join(t.TempDir(), "toe")
	succeeds(t, "job", "report", dir, "-o", base, "--language", "de")
	html, err := os.ReadFile(base + ".html")
	require.NoError(t, err)
	assert.Contains(t, string(html), "Ventile nacheinander oben, unten")
	assert.Contains(t, string(html), fmt.Sprintf(`<data value="%v">`, r.Runout[1].PeakToPeakMm.Value))
}

// What the printed ruler measures is said once, and goes into every measurement after.
func TestJobKeepsTheRuler(t *testing.T) {
	dir := newTestJob(t, "--rim", "305")
	said := unwrapped(succeeds(t, "job", "add", dir, "--scale-x", "100.2"))
	assert.Contains(t, said, "printed 100 mm are 100.2 mm across and 100 mm along the page")
	succeeds(t, "job", "add", dir, "--scale-y", "100.2", "--note", "both axes")
	j, _, err := job.Read(dir)
	require.NoError(t, err)
	assert.Equal(t, [2]float64{100.2, 100.2}, j.RulerMm)
	requireRecordSchema(t, dir)

	photos := samplePhotos("front", "rear", "above")
	succeeds(t, append([]string{"job", "add", dir}, photos...)...)
	s, err := job.Inspect(dir)
	require.NoError(t, err)
	var want measure.Result
	said = succeeds(t, append([]string{"measure", "--json", "--rim", "305", "--scale-x", "100.2", "--scale-y", "100.2"}, photos...)...)
	require.NoError(t, json.Unmarshal([]byte(said), &want))
	last, ok := s.LastResult()
	require.True(t, ok)
	assert.InDelta(t, want.TrackMm.Value, last.TrackMm.Value, 1e-6, "0.2 % of the track are more than 1 mm")

	next := filepath.Join(t.TempDir(), "next")
	succeeds(t, "job", "new", next, "--from", dir)
	j, _, err = job.Read(next)
	require.NoError(t, err)
	assert.Zero(t, j.RulerMm, "the next print differs")
}

func TestJobRefusedPhotosAreNotRecorded(t *testing.T) {
	dir := newTestJob(t)
	before, err := os.ReadFile(filepath.Join(dir, "job.json"))
	require.NoError(t, err)
	grey := filepath.Join(t.TempDir(), "grey.jpg")
	require.NoError(t, os.WriteFile(grey, greyJPEG(t), 0o600))
	code, stdout, stderr := cli("job", "add", dir, grey)
	assert.Equal(t, exitRefused, code)
	assert.Empty(t, stdout)
	assert.Contains(t, stderr, "[no_sheet]")
	after, err := os.ReadFile(filepath.Join(dir, "job.json"))
	require.NoError(t, err)
	assert.Equal(t, before, after)
	assert.NoDirExists(t, filepath.Join(dir, "photos"))

	code, _, stderr = cli("job", "add", dir, "--keep-only", filepath.Join(dir, "job.json"))
	assert.Equal(t, exitRefused, code)
	assert.Contains(t, stderr, "[not_a_photo]")

	said := succeeds(t, "job", "add", dir, "--keep-only", "--note", "the label", grey)
	assert.Contains(t, said, "the label; 1 photo")
}

func TestJobShowsDamageAndWhatIsWhole(t *testing.T) {
	dir := newTestJob(t)
	record(t, dir, state(job.AsFound, 6, 0.1), state(job.AsFound, 5, 0.1))
	require.NoError(t, os.Remove(filepath.Join(dir, "results", "01-as-found.json")))
	said := succeeds(t, "job", "show", dir)
	assert.Contains(t, said, "results/01-as-found.json is missing")
	assert.Contains(t, said, "5.00 mm toe-in")

	content, err := os.ReadFile(filepath.Join(dir, "job.json"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "job.json"), content[:len(content)-100], 0o600))
	said = succeeds(t, "job", "show", dir)
	assert.Contains(t, said, "job.json is broken at line")
	assert.Contains(t, said, "as found: 6.00 mm toe-in")
	assert.Contains(t, succeeds(t, "job", "list", filepath.Dir(dir)), "DAMAGED")
	assert.Contains(t, fails(t, "job", "add", dir, "--note", "more"), "is damaged")
	fails(t, "job", "export", dir, "-o", filepath.Join(t.TempDir(), "x.zip"))
}

func TestJobMistakesGetOneLine(t *testing.T) {
	dir := newTestJob(t)
	front := samplePhotos("front")[0]
	for _, args := range [][]string{
		{"new"},
		{"new", dir},
		{"new", filepath.Join(dir, "x"), "--rim", "20"},
		{"new", filepath.Join(dir, "x"), "--thread", "nut"},
		{"new", filepath.Join(dir, "x"), "--from", "nowhere"},
		{"show", "nowhere"},
		{"show", filepath.Dir(dir)},
		{"list", "nowhere"},
		{"export", "nowhere"},
		{"report", "nowhere"},
		{"report", dir, "--language", "xx"},
		{"report", dir, "--paper", "a9"},
		{"add", dir},
		{"add", "nowhere", "--note", "x"},
		{"add", dir, "--check", "spokes"},
		{"add", dir, "--check", "spokes=good"},
		{"add", dir, "--check", "bell=ok"},
		{"add", dir, "--check", "spokes,kingpins=ok", "--note", "x"},
		{"add", dir, "--check", "spokes=ok", "--turned", "1 longer"},
		{"add", dir, "--turned", "much longer"},
		{"add", dir, "--turned", "0.5"},
		{"add", dir, "--stage", "final", "--note", "x"},
		{"add", dir, "--stage", "finished", front},
		{"add", dir, "--scale-x", "200"},
		{"add", dir, "--runout", "0.5", "--note", "x"},
		{"add", dir, "--at", "top=" + front},
		{"add", dir, "--at", "top=" + front, "--at", "bottom=" + front, front},
		{"add", dir, "--at", "top=" + front, "--at", "bottom=" + front, "--valves", "top"},
		{"add", dir, "--at", "top=" + front, "--at", "bottom=" + front, "--keep-only"},
		{"add", dir, "--at", "top=" + front, "--at", "valves=" + front},
		{"add", dir, "--scale-x", "200", front},
		{"add", dir, "--rim", "406", "--rim-outer", "418", front},
	} {
		fails(t, append([]string{"job"}, args...)...)
	}
	j, damage, err := job.Read(dir)
	require.NoError(t, err)
	assert.Empty(t, damage)
	assert.Empty(t, j.Entries)
}

func TestParseRodTurned(t *testing.T) {
	for text, want := range map[string]job.Turned{
		"0.5 longer":             {Rod: "tie_rod", LongerByTurns: 0.5},
		"left_rod 0.25 shorter":  {Rod: "left_rod", LongerByTurns: -0.25},
		" cross_rod  2  longer ": {Rod: "cross_rod", LongerByTurns: 2},
	} {
		got, err := parseRodTurned(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
}

// No text of the English catalogue is missing: a missing one would show its key.
func TestJobTextHasNoKeys(t *testing.T) {
	dir := newTestJob(t)
	for _, stage := range job.Stages() {
		record(t, dir, state(stage, 1, 0.1))
		assert.NotRegexp(t, `\b(next|stage|verdict|moved|toe|toward)\.[a-z]`, succeeds(t, "job", "show", dir))
	}
	for i, c := range job.Checks() {
		result := job.Results()[i%3]
		said := succeeds(t, "job", "add", dir, "--check", fmt.Sprintf("%s=%s", c.ID, result))
		assert.NotRegexp(t, `\b(check|result|alarm)\.[a-z]`, said)
	}
}
