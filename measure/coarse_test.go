package measure_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/samples"
)

// A driveway whose grains are as light and as dark as the tyres: with short probes alone it is
// refused.
func TestCoarseGround(t *testing.T) {
	s := newStudio(t, 880053, samples.AnySetting)
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
}
