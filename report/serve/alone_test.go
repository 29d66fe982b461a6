package serve

import (
	"bytes"
	"fmt"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/vision"
)

// Where the photos of two positions do not go together, those that settle more by
// themselves still say something, beside the reason.
func TestPositionsThatDoNotGoTogether(t *testing.T) {
	for name, c := range map[string]struct {
		u     map[string]float64 // of each position alone; refused where it is missing
		alone string
	}{
		"both alone":  {map[string]float64{"top": 0.5, "bottom": 0.4}, "bottom"},
		"one alone":   {map[string]float64{"top": 0.5}, "top"},
		"neither one": {nil, ""},
	} {
		t.Run(name, func(t *testing.T) {
			o := testOptions(t.TempDir())
			o.Measure = func(positions []Position, _ measure.Settings, _ string) (*measure.Measurement, []measure.Input, error) {
				u, ok := c.u[positions[0].Valves]
				if len(positions) > 1 || !ok {
					return nil, nil, &vision.Refusal{Code: fmt.Sprint("refused_", len(positions)), Reason: "No.", Remedy: "Yes."}
				}
				m := &measure.Measurement{Result: measure.Result{TotalToeMm: measure.Quantity{StandardUncertainty: u}}}
				var inputs []measure.Input
				for _, path := range positions[0].Paths {
					m.Result.Photos = append(m.Result.Photos, measure.PhotoResult{File: filepath.Base(path)})
					inputs = append(inputs, measure.Input{Photo: &vision.Photo{Path: path}})
				}
				return m, inputs, nil
			}
			r := start(t, o)
			id := r.newJob()
			for _, position := range []string{"top", "bottom"} {
				status, content, _ := r.ask("PUT", fmt.Sprintf("/api/jobs/%s/uploads/key-of-%s?view=front&position=%s&name=IMG.jpg&modified=2026-01-02T03:04:05Z", id, position, position), bytes.NewReader(samplePhoto(t, "front")))
				require.Equal(t, http.StatusCreated, status, "%s", content)
			}
			v := r.job(id)
			require.Eventually(t, func() bool {
				v = r.job(id)
				return v.Measured != nil && v.Measured.State == "done" && v.Measured.Refused != nil && v.Measured.Refused.Code == "refused_2"
			}, 20*time.Second, 10*time.Millisecond)
			assert.Equal(t, c.alone, v.Measured.Alone)
			if c.alone == "" {
				assert.Nil(t, v.Measured.Result)
				return
			}
			require.NotNil(t, v.Measured.Result)
			assert.Equal(t, c.u[c.alone], v.Measured.Result.TotalToeMm.StandardUncertainty)
			require.Len(t, v.Measured.Result.Photos, 1)
			assert.Equal(t, "key-of-"+c.alone, v.Measured.Result.Photos[0].File)
		})
	}
}
