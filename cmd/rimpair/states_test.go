package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/samples"
)

// requireOwnSchema validates what a command of several states wrote.
func requireOwnSchema(t *testing.T, name, text string) {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	schema, err := c.Compile("../../report/" + name + ".schema.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(doc))
}

// Two "states" between which nothing moved: changes and play are zero within their
// intervals, and the change is known better than either value.
func TestNothingChanged(t *testing.T) {
	states := []string{"first=" + strings.Join(samplePhotos("front", "above"), ","), "second=" + samplePhotos("rear")[0]}
	common := []string{"--json", "--camera", "none", "--rim", "305"}
	code, stdout, stderr := cli(append(append([]string{"compare"}, states...), common...)...)
	require.Equal(t, exitDone, code, stderr+stdout)
	requireOwnSchema(t, "comparison", stdout)
	var c measure.Comparison
	require.NoError(t, json.Unmarshal([]byte(stdout), &c))
	change := c.Changes[0]
	assertCovers(t, "toe", change.RimTotalToeMm, 0)
	assertCovers(t, "camber", change.LeftCamberDeg, 0)
	assertCovers(t, "track", change.TrackMm, 0)
	assertCovers(t, "hub height", change.HubHeightMm, 0)
	assert.Nil(t, change.PerMmOfTravel)
	truth := sampleTruth(t)
	for _, state := range c.States {
		assertCovers(t, state.Name+", axles", state.TotalToeMm, truth.TotalToeMm)
		assertCovers(t, state.Name+", rims", state.RimTotalToeMm, truth.RimTotalToeMm)
		assert.Less(t, change.RimTotalToeMm.StandardUncertainty, state.TotalToeMm.StandardUncertainty, state.Name)
		assert.InDelta(t, math.Hypot(state.RimTotalToeMm.StandardUncertainty, defaultRunoutMm), state.TotalToeMm.StandardUncertainty, 0.02, state.Name)
	}

	code, stdout, stderr = cli(append(append([]string{"play"}, states...), common...)...)
	require.Equal(t, exitDone, code, stderr+stdout)
	requireOwnSchema(t, "play", stdout)
	var p measure.Play
	require.NoError(t, json.Unmarshal([]byte(stdout), &p))
	assert.False(t, p.Found)
	assert.Zero(t, p.AtRimMm.Low95)
}

func TestStatesMistakesGetOneLine(t *testing.T) {
	front, rear, above := samplePhotos("front")[0], samplePhotos("rear")[0], samplePhotos("above")[0]
	for _, args := range [][]string{
		{"measure", "--at", "top=" + front},
		{"measure", "--at", "top=" + front, "--at", "top=" + rear},
		{"measure", "--at", "top=" + front, "--at", "12=" + rear},
		{"measure", "--at", "top=" + front, "--at", "4=" + rear},
		{"measure", "--at", "top=" + front, "--at", "03=" + rear},
		{"measure", "--at", "top=" + front, "--at", "bottom"},
		{"measure", "--at", "top=" + front, "--at", "bottom=" + rear, above},
		{"measure", "--at", "top=" + front, "--at", "bottom=" + t.TempDir()},
		{"compare", "one=" + front},
		{"compare", "one=" + front, rear},
		{"play", "in=" + front},
		{"play", "in=" + front, "out=" + rear, "--wheel", "rear"},
	} {
		code, stdout, stderr := cli(args...)
		assert.Equal(t, exitFailed, code, args)
		assert.Empty(t, stdout, args)
		assert.Regexp(t, `^rimpair: [^\n]+\n$`, stderr, args)
	}
}

// A photo in two states is refused, in JSON as the schema says.
func TestStatesRefusals(t *testing.T) {
	front, rear := samplePhotos("front")[0], samplePhotos("rear")[0]
	code, stdout, _ := cli("compare", "--json", "a="+front, "b="+rear+","+front)
	assert.Equal(t, exitRefused, code)
	requireOwnSchema(t, "comparison", stdout)
	assert.Contains(t, stdout, "same_photo_twice")
	code, stdout, _ = cli("play", "--json", "in="+front, "out="+filepath.Join(t.TempDir(), "none.jpg"))
	assert.Equal(t, exitRefused, code)
	requireOwnSchema(t, "play", stdout)
	assert.Contains(t, stdout, "unreadable")
}

func TestPositionsByName(t *testing.T) {
	for name, hour := range map[string]float64{"top": 0, "12": 0, "3": 3, "bottom": 6, "6": 6, "9": 9} {
		got, err := hourOf(name)
		require.NoError(t, err)
		assert.Equal(t, hour, got)
	}
	for _, name := range []string{"", "Top", "0", "03", "1", "12:00", "-3"} {
		_, err := hourOf(name)
		assert.Error(t, err, name)
	}
}

// A folder stands for the photos in it, whatever else lies there.
func TestFolderOfPhotos(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"b.JPG", "a.heic", "notes.txt"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), nil, 0o600))
	}
	states, err := parseStates([]string{"top=" + dir})
	require.NoError(t, err)
	assert.Equal(t, []namedPhotos{{"top", []string{filepath.Join(dir, "a.heic"), filepath.Join(dir, "b.JPG")}}}, states)
}

// Drawn photos of the wheels with the valves at the top and half a turn on: total toe is the
// axles', the rims' run-out comes out, and the rear wheel is measured where it is seen.
func TestPositionsOfDrawnWheels(t *testing.T) {
	dir := t.TempDir()
	scene := samples.NewScene(10, samples.Options{LongSide: 2000, HalfTurn: true, Views: []samples.View{samples.Front, samples.Behind}})
	require.NoError(t, scene.Write(dir))
	at := func(position string) string {
		return fmt.Sprintf("%s=%s,%s", position, filepath.Join(dir, position+"-front.jpg"), filepath.Join(dir, position+"-behind.jpg"))
	}
	v := scene.Vehicle
	r := measured(t, "--camera", "none", "--rim", fmt.Sprint(v.Left.BeadSeatMm), "--at", at("top"), "--at", at("bottom"))

	truth := v.State(0)
	assertCovers(t, "total toe", r.TotalToeMm, truth.TotalToeMm)
	assert.Less(t, r.TotalToeMm.StandardUncertainty, 0.5, "mm; otherwise it says little")
	require.Len(t, r.Runout, 2)
	assertCovers(t, "run-out of the left rim", r.Runout[0].PeakToPeakMm, v.Left.RunoutMm)
	assertCovers(t, "run-out of the right rim", r.Runout[1].PeakToPeakMm, v.Right.RunoutMm)

	require.NotNil(t, r.Rear)
	left, right, rear := truth.Wheels.L, truth.Wheels.R, truth.Wheels.C
	bisector := (left.HeadingDeg + right.HeadingDeg) / 2
	centreline := math.Atan2(rear.HubMm[0]-(left.HubMm[0]+right.HubMm[0])/2, (left.HubMm[1]+right.HubMm[1])/2-rear.HubMm[1]) * 180 / math.Pi
	assertCovers(t, "thrust line", r.Rear.ThrustDeg, bisector-rear.HeadingDeg)
	assertCovers(t, "steering off centre", r.Rear.SteeringOffDeg, centreline-bisector)
	assertCovers(t, "left toe", r.Wheels[0].ToeDeg, centreline-left.HeadingDeg)
	assertCovers(t, "right toe", r.Wheels[1].ToeDeg, right.HeadingDeg-centreline)
}
