package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestThreads(t *testing.T) {
	for _, test := range []struct {
		text            string
		diameter, pitch float64
	}{
		// ISO 261 coarse pitches, from memory.
		{"M5", 5, 0.8},
		{"M6", 6, 1},
		{"M8", 8, 1.25},
		{"m10", 10, 1.5},
		{"M12", 12, 1.75},
		// The pitch as it is said.
		{"M6x1", 6, 1},
		{"M8 x 1.25", 8, 1.25},
		{"M8×1", 8, 1},
		{"M10x1.25", 10, 1.25},
		// ASME B1.1, from memory: 25.4 mm by the threads per inch.
		{"1/4-28 UNF", 6.35, 25.4 / 28},
		{"5/16-24 UNF", 7.9375, 25.4 / 24},
		{"3/8-24 UNF", 9.525, 25.4 / 24},
		{"3/8 UNF", 9.525, 25.4 / 24},
		{"1/4-20unc", 6.35, 1.27},
		{"5/16-24", 7.9375, 25.4 / 24},
		{"10-32 UNF", 4.826, 25.4 / 32},
		{"#10-32", 4.826, 25.4 / 32},
		// Pitch alone.
		{"1.25 mm", 0, 1.25},
		{"24 per inch", 0, 25.4 / 24},
		{"28 tpi", 0, 25.4 / 28},
	} {
		thread, err := ParseThread(test.text)
		require.NoError(t, err, test.text)
		assert.InDelta(t, test.diameter, thread.DiameterMm, 1e-12, test.text)
		assert.InDelta(t, test.pitch, thread.PitchMm, 1e-12, test.text)
		assert.Equal(t, 2*thread.PitchMm, RightAndLeft.leadMm(thread), test.text)
		assert.Equal(t, thread.PitchMm, BothRight.leadMm(thread), test.text)
	}
}

func TestThreadsThatAreNone(t *testing.T) {
	for _, text := range []string{
		"", "M", "M6x", "M6x0", "M6x4", "M9", "M600", "6", "1.25", "1/0-20", "5/16-18 UNF", "5/16-0", "1/3 UNF", "0 mm", "25 mm",
		"-1 mm", "M6x1; M8", "5 per mile", "9999999999999999999 tpi",
	} {
		_, err := ParseThread(text)
		assert.ErrorContains(t, err, "no rod end's thread", text)
	}
}
