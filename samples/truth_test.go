package samples

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// truthFiles lists the truth files of the photos that came with the project, made
// by another generator: the copies in photos/, and the whole folder when the
// environment variable RIMPAIR_PHOTOS names it.
func truthFiles(t *testing.T) []string {
	files, err := filepath.Glob("photos/*/truth.json")
	require.NoError(t, err)
	if dir := os.Getenv("RIMPAIR_PHOTOS"); dir != "" {
		more, err := filepath.Glob(filepath.Join(dir, "*/truth.json"))
		require.NoError(t, err)
		files = append(files, more...)
	}
	if len(files) == 0 {
		t.Skip("no photos here and RIMPAIR_PHOTOS is not set")
	}
	return files
}

// Every derived number of the other generator's truth follows, by the definitions
// of this package, from its axles, rim axes and hubs.
func TestConventionsReproduceOtherTruth(t *testing.T) {
	const tol = 1e-6 // the files carry at least 13 significant digits
	for _, file := range truthFiles(t) {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		var truth Truth
		require.NoError(t, json.Unmarshal(raw, &truth))
		checked := 0
		for _, photo := range truth.Photos {
			if photo.State == nil {
				continue
			}
			want, name := *photo.State, file+" "+photo.File
			rebuild := func(s Side, w WheelTruth) WheelTruth {
				n := newWheelTruth(s, vector(w.HubMm), vector(w.Axle), vector(w.RimAxis), vector(w.TyreAxis))
				n.RimDiameterMm, n.RimWidthMm = w.RimDiameterMm, w.RimWidthMm
				assert.InDelta(t, w.HeadingDeg, n.HeadingDeg, tol, name)
				assert.InDelta(t, w.CamberDeg, n.CamberDeg, tol, name)
				assert.InDelta(t, w.RimCamberDeg, n.RimCamberDeg, tol, name)
				if s != Rear {
					assert.InDelta(t, *w.ToeDeg, *n.ToeDeg, tol, name)
					assert.InDelta(t, *w.RimToeDeg, *n.RimToeDeg, tol, name)
				}
				return n
			}
			got := newStateTruth(rebuild(Left, want.Wheels.L), rebuild(Right, want.Wheels.R), rebuild(Rear, want.Wheels.C))
			assert.InDelta(t, want.TotalToeMm, got.TotalToeMm, tol, name)
			assert.InDelta(t, want.RimTotalToeMm, got.RimTotalToeMm, tol, name)
			assert.InDelta(t, want.GapFrontMm, got.GapFrontMm, tol, name)
			assert.InDelta(t, want.GapRearMm, got.GapRearMm, tol, name)
			assert.InDelta(t, want.TrackMm, got.TrackMm, tol, name)
			assert.InDelta(t, want.WheelbaseMm, got.WheelbaseMm, tol, name)
			checked++
		}
		assert.NotZero(t, checked, file)
	}
}
