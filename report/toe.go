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

// runoutPart is the standard uncertainty by which total toe exceeds that of the rims as
// they stood, steering apart: the assumed run-out. Zero when none is assumed.
func runoutPart(r measure.Result) float64 {
	rest := square(r.TotalToeMm.StandardUncertainty) - square(r.RimTotalToeMm.StandardUncertainty)
	for _, line := range r.Budget {
		if line.Code == measure.SteeringSource {
			rest -= square(line.ContributionMm)
		}
	}
	if !(rest > square(leastRunoutMm)) {
		return 0
	}
	return math.Sqrt(rest)
}

// leastRunoutMm is above what rounding leaves of the difference.
const leastRunoutMm = 1e-4

func square(x float64) float64 { return x * x }
