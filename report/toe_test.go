package report

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"rimpair/measure"
)

// The sign is that of ISO 8855 (from memory): toe-in is positive.
func TestToeInWords(t *testing.T) {
	for _, c := range []struct {
		q                       measure.Quantity
		value, spread, sentence string
	}{
		{interval(4.04, 0.63), "4.04 mm toe-in", "95 % interval 3.41 to 4.67 mm toe-in (± 0.63 mm)",
			"The wheels stand closer together at the front than at the rear."},
		{interval(-4.04, 0.63), "4.04 mm toe-out", "95 % interval 3.41 to 4.67 mm toe-out (± 0.63 mm)",
			"The wheels stand wider apart at the front than at the rear."},
		{interval(0.25, 0.65), "0.25 mm toe-in", "95 % interval 0.40 mm toe-out to 0.90 mm toe-in (± 0.65 mm)",
			"Toe-in or toe-out is not settled: the interval holds both."},
		{interval(0.004, 0.65), "0.00 mm", "95 % interval 0.65 mm toe-out to 0.65 mm toe-in (± 0.65 mm)",
			"Toe-in or toe-out is not settled: the interval holds both."},
	} {
		assert.Equal(t, c.value, English().toeValue(c.q))
		assert.Equal(t, c.spread, English().toeSpread(c.q))
		assert.Equal(t, c.sentence, toeSentence(c.q))
	}
	assert.Contains(t, English().toeValue(measure.Quantity{Value: 4}), "not determined")
	assert.NotContains(t, English().toeSpread(measure.Quantity{Value: 4}), "4")
}

// Independent standard uncertainties add in squares (JCGM 100:2008, 5.1.2).
func TestRunoutPart(t *testing.T) {
	r := measure.Result{TotalToeMm: quantity(1, 0.5), RimTotalToeMm: quantity(1, 0.3)}
	assert.InDelta(t, 0.4, runoutPart(r), 1e-12)
	r.TotalToeMm = r.RimTotalToeMm
	assert.Zero(t, runoutPart(r))
}
