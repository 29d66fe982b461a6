package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report"
	"rimpair/samples"
)

// Photos of both half turns that a customer sent in two folders are measured as positions:
// the axles' toe and each rim's run-out are those of the scene.
func TestReviewOfPositions(t *testing.T) {
	scene := halfTurnScene()
	dir := t.TempDir()
	for name, path := range drawn(t, scene) {
		position, view, _ := strings.Cut(name, "-")
		to := filepath.Join(dir, "sent", map[string]string{"top": "Oben", "bottom": "Unten"}[position], view+".jpg")
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.Rename(path, to))
	}
	code, stdout, stderr := cli("review", dir, "--json", "--camera", "none")
	require.Equal(t, exitDone, code, stderr)
	requireReviewSchema(t, stdout)
	var found struct{ Groups []report.ReviewGroup }
	require.NoError(t, json.Unmarshal([]byte(stdout), &found))
	require.Len(t, found.Groups, 1)
	g := found.Groups[0]
	assert.Equal(t, []string{"positions"}, g.Notes)
	require.Len(t, g.States, 1)
	assert.Len(t, g.States[0].Photos, 4)
	r := g.States[0].Result
	require.NotNil(t, r)
	truth := scene.Vehicle.State(0)
	assertCovers(t, "toe of the axles", r.TotalToeMm, truth.TotalToeMm)
	require.Len(t, r.Runout, 2)
	for i, wheel := range []samples.WheelTruth{truth.Wheels.L, truth.Wheels.R} {
		assertCovers(t, "run-out", r.Runout[i].PeakToPeakMm, wheel.RunoutMm)
	}
	assert.Contains(t, g.Reply["de"], "Oben/front.jpg")
}
