package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rimpair/vision"
)

// standingFit is the example scene adjusted from some of its photos, without noise.
func standingFit(t *testing.T, photos int) (*set, *fitted) {
	m := standing()
	m.scene.Photos = m.scene.Photos[:photos]
	for range photos {
		m.inputs = append(m.inputs, Input{Photo: &vision.Photo{Gray: &vision.Gray{Width: 4032, Height: 3024}}})
	}
	freed := everything()
	a := adjustment{layout: newLayout(m.scene, freed)}
	a.corners, a.edges = observe(m.scene, func() float64 { return 0 })
	a.priors = m.knowledge.priors(m.scene, &a.layout)
	covariance, err := Covariance(a.problem(), m.scene)
	require.NoError(t, err)
	return m, &fitted{scene: m.scene, freed: freed, adjustment: a, solution: Solution[*Scene]{State: m.scene, Covariance: covariance, Rows: 1}}
}

// What the forecast says of a rear photo, before it is taken, against the covariance
// once a rear photo is there: from about the same place, with about as many points.
func TestForecastOfARearPhoto(t *testing.T) {
	m, front := standingFit(t, 1)
	u := func(f *fitted) float64 { return math.Sqrt(variance(f.covariance(), f.gradient(m.totalToeMm))) }
	forecast, ok := m.forecast(front, &viewpoints[1], false)
	require.True(t, ok)
	_, both := standingFit(t, 2)
	require.Less(t, forecast, u(front)/2, "an opposite view is worth most")
	// The example's points are evenly spread, the forecast's cautious: a factor of two.
	require.InDelta(t, 0, math.Log(forecast/u(both)), math.Log(2))
}

// Advice comes best first, and only where it narrows the interval.
func TestAdviceIsOrdered(t *testing.T) {
	m, front := standingFit(t, 1)
	rim := front.quantity(m.totalToeMm)
	list := m.advice(front, rim, 0.5)
	require.NotEmpty(t, list)
	before := 0.0
	for _, a := range list {
		require.GreaterOrEqual(t, a.PredictedHalfWidthMm, before)
		require.Less(t, a.PredictedHalfWidthMm, coverage95*math.Hypot(rim.StandardUncertainty, 0.5))
		before = a.PredictedHalfWidthMm
	}
}
