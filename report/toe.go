package report

import (
	"math"

	"rimpair/measure"
)

// toeSentence says what the sign means, as far as the interval settles it.
func toeSentence(q measure.Quantity) string {
	switch {
	case !round(q).Known:
		return ""
	case q.Low95 > 0:
		return "The wheels stand closer together at the front than at the rear."
	case q.High95 < 0:
		return "The wheels stand wider apart at the front than at the rear."
	}
	return "Toe-in or toe-out is not settled: the interval holds both."
}

// runoutPart is the standard uncertainty by which total toe exceeds that of the
// rims as they stood: the assumed run-out. Zero when none is assumed.
func runoutPart(r measure.Result) float64 {
	total, rims := r.TotalToeMm.StandardUncertainty, r.RimTotalToeMm.StandardUncertainty
	if !(total > rims) {
		return 0
	}
	return math.Sqrt(total*total - rims*rims)
}
