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
	s := &studio{scene: samples.NewScene(880053, samples.Options{LongSide: 2000, Views: []samples.View{samples.Front, samples.RearView}})}
	s.front, s.rear = s.take(t, 0, nil), s.take(t, 1, nil)
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
}
