package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The upper part of a bare tyre is met where the lower part puts it, so both are heard; where the
// solution's tyre is as much smaller as a mudguard is larger it is not, and then of either wheel
// that was heard below.
func TestUpperSeen(t *testing.T) {
	m, f, err := settle(sampleInputs(t, "front.jpg", "rear.jpg"), Settings{BeadSeatMm: 305})
	require.NoError(t, err)
	require.Equal(t, [2]bool{}, m.hearing.lower)
	assert.False(t, m.upperSeen(f), "nothing was heard below alone")

	smaller := *f
	smaller.scene = f.scene.clone()
	smaller.scene.Wheels[Left].Tube -= 5 // mm
	for _, c := range []struct {
		lower    [2]bool
		ofHeard  bool
		ofShrunk bool
	}{
		{[2]bool{Left: true}, true, false},
		{[2]bool{Right: true}, true, true},
		{[2]bool{true, true}, true, false},
	} {
		m.hearing.lower = c.lower
		assert.Equal(t, c.ofHeard, m.upperSeen(f), "%v", c.lower)
		assert.Equal(t, c.ofShrunk, m.upperSeen(&smaller), "%v, the left tyre 5 mm smaller", c.lower)
	}
	assert.Less(t, m.upperMet(&smaller, Left), 0.5*upperShare)
}
