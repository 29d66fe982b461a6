package measure_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/samples"
)

// Mudguards over both wheels, from the front and the rear: their edges pass for the tyres', and
// only the rims tell. In the second scene too little of the tyres is seen to hold the wheels
// until the rims' edges join in.
func TestRimsUnderMudguards(t *testing.T) {
	for _, seed := range []uint64{897606, 911017} {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s := newStudioOf(t, seed, samples.Options{Guards: samples.WithGuards})
			m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
			require.NoError(t, err)
			assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
			assertCovers(t, "track", m.Result.TrackMm, s.truth().TrackMm)
		})
	}
}

// Mudguards that pass for tyres on both sides: a photo from the front in which nothing of the
// tyres themselves agreed, 18 mm off, and pairs with a photo from above, 2 to 7 mm off, u 0.7. In
// the last ones what is left of the tyres comes to stand lower, or the rims lead elsewhere. What
// is not refused, the rims tell.
func TestMudguardsTakenForTyres(t *testing.T) {
	const front, rear, above = 0, 1, 2
	for _, c := range []struct {
		seed   uint64
		photos []int
		code   string
	}{
		{911000, []int{front}, ""}, // by longer stretches the mudguards passed
		{911024, []int{front, above}, "mudguards"},
		{911028, []int{rear, above}, ""},
		{905003, []int{rear, above}, "photo_disagrees"}, // 4 mm off by longer stretches, no rim seen
		{921022, []int{rear, above}, "mudguards"},
		{921014, []int{front, rear, above}, "wheel_unclear"}, // another edge for a rim's, nothing of the tyre
		{911000, []int{rear, above}, ""},
		{911000, []int{front, above}, ""},
		{921020, []int{rear, above}, ""},
		{931015, []int{front, above}, "mudguards"}, // no rim seen, little of the lower parts: 5 and 3 mm off
		{931022, []int{rear, above}, "mudguards"},
		{905016, []int{front, above}, ""}, // by both rims alone
		{921001, []int{rear}, ""},         // 8 and 12 mm off
		{921007, []int{rear}, ""},
	} {
		t.Run(fmt.Sprint(c.seed, c.photos), func(t *testing.T) {
			s := newStudioOf(t, c.seed, samples.Options{
				Guards: samples.WithGuards, Views: []samples.View{samples.Front, samples.RearView, samples.Above},
			})
			taken := []measure.Input{front: s.front, rear: s.rear}
			if slices.Contains(c.photos, above) {
				taken = append(taken, s.take(t, above, nil))
			}
			var inputs []measure.Input
			for _, i := range c.photos {
				inputs = append(inputs, taken[i])
			}
			m, err := measure.Measure(inputs, s.settings())
			if c.code != "" {
				assert.Equal(t, c.code, requireRefused(t, m, err).Code)
				return
			}
			require.NoError(t, err)
			assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
		})
	}
}

// Bare wheels seen plainly, whose rims' edges, heard first, lead 10 mm away: few of those that voted
// are met in the end, so they neither raise the alarm of mudguards nor pass for a reading.
func TestRimsThatAreHeardButNotMet(t *testing.T) {
	s := newStudioOf(t, 906015, samples.Options{Views: []samples.View{samples.Front, samples.RearView, samples.Above}})
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
}

// A bare tyre whose lower part won the vote by chance is read all around, as the other one is.
func TestBareTyreHeardBelow(t *testing.T) {
	s := newStudioOf(t, 906005, samples.Options{Views: []samples.View{samples.Front, samples.RearView, samples.Above}})
	m, err := measure.Measure([]measure.Input{s.front, s.rear, s.take(t, 2, nil)}, s.settings())
	require.NoError(t, err)
	assertCovers(t, "rim total toe", m.Result.RimTotalToeMm, s.truth().RimTotalToeMm)
	for _, photo := range m.Result.Photos {
		left, right := float64(photo.Wheels[measure.Left].TyrePoints), float64(photo.Wheels[measure.Right].TyrePoints)
		assert.Less(t, max(left, right), 2*min(left, right), "of a tyre read below alone there are 2.7 to 3.9 times fewer: %s", photo.File)
	}
}

// Mudguards that pass for both tyres in small photos, 9.5 mm off at u 0.7: of two sizes, no rim seen.
func TestMudguardsOfTwoSizes(t *testing.T) {
	s := newStudioOf(t, 906114, samples.Options{LongSide: 1400, Guards: samples.WithGuards})
	m, err := measure.Measure([]measure.Input{s.front, s.rear}, s.settings())
	refusal := requireRefused(t, m, err)
	assert.Equal(t, "wheel_unclear", refusal.Code)
	assert.Contains(t, refusal.Reason, "differ by 3 mm in diameter")
}

// Two photos of wheels so far hidden that each by itself hardly knows the toe agree on some
// state even where tie rods were turned by 1° a wheel in between.
func TestHiddenWheelsThatMoved(t *testing.T) {
	s := newStudioOf(t, 897603, samples.Options{Guards: samples.WithGuards})
	m, err := measure.Measure([]measure.Input{s.front, s.take(t, 1, turnTieRods)}, s.settings())
	assert.Contains(t, []string{"wheel_unclear", "photo_disagrees"}, requireRefused(t, m, err).Code)
}
