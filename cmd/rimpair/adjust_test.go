package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// resultFile writes an invented measurement, of rims of 420 mm, as measure --json does.
func resultFile(t *testing.T, dir, name string, toeMm, u float64) string {
	t.Helper()
	q := func(v, u float64) measure.Quantity {
		return measure.Quantity{Value: v, StandardUncertainty: u, Low95: v - 1.96*u, High95: v + 1.96*u}
	}
	r := measure.Result{Schema: "rimpair/measurement/1", TotalToeMm: q(toeMm, u), RimTotalToeMm: q(toeMm, u), TrackMm: q(720, 1), HubHeightMm: q(250, 1)}
	for _, side := range []string{"left", "right"} {
		r.Wheels = append(r.Wheels, measure.WheelResult{Side: side, RimDiameterMm: q(420, 0.5), CamberDeg: q(-1, 0.1), ToeDeg: q(0, 0.1)})
	}
	path := filepath.Join(dir, name)
	f, err := os.Create(path)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, report.JSON(f, r))
	return path
}

func writeText(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func advised(t *testing.T, args ...string) measure.RodAdvice {
	t.Helper()
	code, stdout, stderr := cli(append([]string{"adjust", "--json"}, args...)...)
	require.Equal(t, exitDone, code, stderr)
	var a measure.RodAdvice
	require.NoError(t, json.Unmarshal([]byte(stdout), &a))
	return a
}

func TestAdjustSaysWhatToTurn(t *testing.T) {
	found := resultFile(t, t.TempDir(), "found.json", 5, 0.1)
	code, stdout, stderr := cli("adjust", found, "--thread", "M6", "--rods", "behind", "--arm", "70", "--arm-inward", "0", "--left-thread", "left")
	require.Equal(t, exitDone, code, stderr)
	// A third of a turn of 420 · 2/70 mm of toe takes away 4 mm.
	assert.Contains(t, stdout, "SHORTER by 0.33 turn, which is 2 flats of the hexagon")
	assert.Contains(t, stdout, "top moves toward the REAR of the vehicle")
}

// With the handlebar straight and the wheels 2° to the right, as the rear wheel shows,
// two rods are turned by different amounts, and the wheels point ahead afterwards; within
// what the rear wheel leaves open, they are turned alike.
func TestAdjustCentresByTheRearWheel(t *testing.T) {
	for _, c := range []struct {
		offDeg float64
		centre bool
	}{{2, true}, {-2, true}, {0.3, false}} {
		path := resultFile(t, t.TempDir(), "found.json", -3, 0.1)
		r, err := readResult(path)
		require.NoError(t, err)
		r.Rear = &measure.RearResult{SteeringOffDeg: measure.Quantity{Value: c.offDeg, StandardUncertainty: 0.2}}
		text, err := json.Marshal(r)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, text, 0o600))
		a := advised(t, path, "--thread", "M6", "--left-thread", "outer", "--kind", "two_rods", "--rods", "behind", "--arm", "70", "--bar-straight")
		require.Len(t, a.Turns, 2)
		if !c.centre {
			assert.Equal(t, a.Turns[0].SetMm, a.Turns[1].SetMm)
			assert.Nil(t, a.OffDeg)
			continue
		}
		assert.NotEqual(t, a.Turns[0].SetMm, a.Turns[1].SetMm)
		assert.InDelta(t, c.offDeg, a.OffDeg.Value, 0.01)
		assert.InDelta(t, 0.2, a.OffDeg.StandardUncertainty, 0.02)
		assert.InDelta(t, 0, a.Expected.OffDeg.Value, 0.1, "steps of 15° of a turn")
	}
}

// A description in a file and one in options say the same; options override.
func TestAdjustReadsDescriptions(t *testing.T) {
	dir := t.TempDir()
	found := resultFile(t, dir, "found.json", 5, 0.1)
	described := writeText(t, dir, "trike.json", `{"schema": "rimpair/steering/1", "thread": "M6", "rods": "behind", "left_thread": "left",
		"arm_mm": {"value": 70, "plus_minus": 1}, "arm_inward_deg": {"value": 0}, "kingpin_distance_mm": {"value": 600},
		"kingpin_inclination_deg": {"value": 12}, "caster_deg": {"value": 8}, "engaged_mm": 12, "target": {"aim_mm": 1.5, "low_mm": 0.5, "high_mm": 2}}`)
	byFile := advised(t, found, "--steering", described)
	byOptions := advised(t, found, "--thread", "M6", "--rods", "behind", "--left-thread", "left", "--arm", "70+-1", "--arm-inward", "0", "--kingpins", "600",
		"--inclination", "12", "--caster", "8", "--engaged", "12", "--aim", "1.5", "--allow", "0.5,2")
	assert.Equal(t, byFile, byOptions)
	assert.Empty(t, byFile.Assumed)
	assert.Equal(t, measure.Target{AimMm: 1.5, LowMm: 0.5, HighMm: 2}, byFile.Target)

	longer := advised(t, found, "--steering", described, "--arm", "140", "--aim", "1")
	assert.InDelta(t, 0.5, longer.MmPerTurn.Value/byFile.MmPerTurn.Value, 0.001, "twice the arm, half the toe")
	assert.Equal(t, measure.Target{AimMm: 1, LowMm: 0.5, HighMm: 2}, longer.Target)
}

// The trial way: half a turn, measured, tells the rest.
func TestAdjustLearns(t *testing.T) {
	dir := t.TempDir()
	found, now := resultFile(t, dir, "found.json", 5, 0.1), resultFile(t, dir, "now.json", -1, 0.1)
	assert.Equal(t, measure.AnswerLearn, advised(t, found, "--thread", "M6").Answer)
	a := advised(t, now, "--thread", "M6", "--before", found, "--turned", "0.5 shorter")
	assert.InDelta(t, 12, a.MmPerTurn.Value, 1e-9)
	assert.Equal(t, []string{"record"}, a.MmPerTurnFrom)
	assert.True(t, a.Turns[0].Longer)
	assert.InDelta(t, 4.0/24, a.Turns[0].Turns, 1e-9)
}

// A job's folder tells what a result, a description and a record tell.
func TestAdjustTakesAJob(t *testing.T) {
	dir := newTestJob(t, "--thread", "M6", "--rim", "349")
	assert.Contains(t, fails(t, "adjust", dir), "no measurement yet")

	record(t, dir, state(job.AsFound, 5, 0.1))
	assert.Equal(t, measure.AnswerLearn, advised(t, dir).Answer)
	record(t, dir, turn(-0.5))
	assert.Contains(t, fails(t, "adjust", dir), "measure again first")

	record(t, dir, state(job.Adjusted, -1, 0.1))
	a := advised(t, dir)
	assert.InDelta(t, 12, a.MmPerTurn.Value, 1e-9, "6 mm by half a turn")
	assert.Equal(t, []string{"record"}, a.MmPerTurnFrom)
	assert.InDelta(t, 3, advised(t, dir, "--aim", "3", "--allow", "2,4").Target.AimMm, 0, "options override")

	described := writeText(t, t.TempDir(), "trike.json", `{"schema": "rimpair/steering/1", "thread": "M6"}`)
	assert.InDelta(t, 12, advised(t, dir, "--steering", described).MmPerTurn.Value, 1e-9, "a file keeps the job's record")
}

// A check that is not in order stands before the advice, and beside its JSON.
func TestAdjustSaysFailedChecksFirst(t *testing.T) {
	dir := newTestJob(t, "--thread", "M6")
	record(t, dir, state(job.AsFound, 5, 0.1))
	succeeds(t, "job", "add", dir, "--check", "kingpins=failed")
	assert.Regexp(t, `^!! `, succeeds(t, "adjust", dir))
	requireSpoilt := func() (stderr string) {
		code, stdout, stderr := cli("adjust", dir, "--json")
		assert.Equal(t, exitDone, code)
		var advice struct {
			SpoiltBy []string `json:"spoilt_by"`
			Cautions []string `json:"cautions"`
		}
		require.NoError(t, json.Unmarshal([]byte(stdout), &advice))
		assert.Equal(t, []string{"kingpins"}, advice.SpoiltBy)
		assert.Contains(t, advice.Cautions[0], "no play in kingpins")
		return stderr
	}
	assert.Regexp(t, `^!! `, requireSpoilt())

	// Put right, but not measured again.
	assert.Contains(t, unwrapped(succeeds(t, "job", "add", dir, "--check", "kingpins=ok")), "measure the vehicle again")
	assert.Empty(t, requireSpoilt())
	assert.Contains(t, unwrapped(succeeds(t, "adjust", dir)), "The measured toe means nothing")
}

// A result that was changed by hand is not advised on.
func TestAdjustRefusesADamagedJob(t *testing.T) {
	dir := newTestJob(t, "--thread", "M6")
	record(t, dir, state(job.AsFound, 5, 0.1))
	j, _, err := job.Read(dir)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, j.LastMeasurement().Result.File), []byte("{}"), 0o600))
	assert.Contains(t, fails(t, "adjust", dir), "is damaged")
}

func TestAdjustRefuses(t *testing.T) {
	dir := t.TempDir()
	found, now := resultFile(t, dir, "found.json", 5, 0.1), resultFile(t, dir, "now.json", -1, 0.1)
	refused := writeText(t, dir, "refused.json", `{"refused": {"code": "no_sheet", "photo": "a.jpg", "reason": "No sheet.", "remedy": "Lay one."}}`)

	code, stdout, stderr := cli("adjust", refused, "--thread", "M6")
	assert.Equal(t, exitRefused, code)
	assert.Empty(t, stdout)
	assert.Contains(t, stderr, "[no_sheet]")

	// Made shorter, a rod in front of the kingpins makes more toe-in, and the record says less.
	code, stdout, _ = cli("adjust", now, "--thread", "M6", "--rods", "in_front", "--arm", "70", "--before", found, "--turned", "0.5 shorter", "--json")
	assert.Equal(t, exitRefused, code)
	assert.Contains(t, stdout, `"code": "turns_disagree"`)
}

func TestAdjustWrongUse(t *testing.T) {
	dir := t.TempDir()
	found := resultFile(t, dir, "found.json", 5, 0.1)
	mistyped := writeText(t, dir, "mistyped.json", `{"thread": "M6", "arm": {"value": 70}}`)
	for words, args := range map[string][]string{
		"accepts 1 arg":                  {},
		"no such file":                   {filepath.Join(dir, "none.json")},
		"is no result":                   {mistyped},
		"no rod end's thread":            {found},
		"unknown field":                  {found, "--steering", mistyped},
		"such as 70+-2":                  {found, "--thread", "M6", "--arm", "long"},
		"70+-2":                          {found, "--thread", "M6", "--arm", "70+--2"},
		"rods cannot be":                 {found, "--thread", "M6", "--rods", "rear"},
		"smallest and the largest":       {found, "--thread", "M6", "--allow", "1"},
		"low < aim < high":               {found, "--thread", "M6", "--aim", "7"},
		"needs its --turned":             {found, "--thread", "M6", "--before", found},
		`such as "0.5 longer"`:           {found, "--thread", "M6", "--before", found, "--turned", "0.5"},
		`longer", not "-0.5 longer"`:     {found, "--thread", "M6", "--before", found, "--turned", "-0.5 longer"},
		"describe the arms and two rods": {found, "--thread", "M6", "--off", "1"},
		"rear wheel is not plainly seen": {found, "--thread", "M6", "--bar-straight"},
	} {
		code, stdout, stderr := cli(append([]string{"adjust"}, args...)...)
		assert.Equal(t, exitFailed, code, words)
		assert.Empty(t, stdout, words)
		assert.Contains(t, stderr, words)
		assert.Equal(t, 1, strings.Count(stderr, "\n"), stderr)
	}
}
