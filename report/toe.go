package report

import (
	"math"
	"strings"

	"rimpair/measure"
)

// Toe in words: positive is toe-in. A value that rounds to zero is neither.

// toeWords names the direction of a toe of that many decimals.
func toeWords(mm float64, decimals int) string {
	figure := fixed(math.Abs(mm), decimals) + " mm"
	switch {
	case strings.Trim(figure, "0. m") == "":
		return figure
	case mm > 0:
		return figure + " toe-in"
	}
	return figure + " toe-out"
}

// toeValue is "4.04 mm toe-in".
func toeValue(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return notDetermined
	}
	return toeWords(q.Value, f.Decimals)
}

// toeSpread is "95 % interval 3.41 to 4.67 mm toe-in (± 0.63 mm)".
func toeSpread(q measure.Quantity) string {
	f := round(q)
	if !f.Known {
		return "95 % interval " + notDetermined
	}
	return "95 % interval " + toeInterval(q, f) + " (± " + f.Half + " mm)"
}

// toeInterval names the direction once, or at both ends when the interval holds
// both directions.
func toeInterval(q measure.Quantity, f figures) string {
	switch {
	case q.Low95 > 0:
		return f.Low + " to " + toeWords(q.High95, f.Decimals)
	case q.High95 < 0: // the smaller toe-out first
		return fixed(-q.High95, f.Decimals) + " to " + toeWords(q.Low95, f.Decimals)
	}
	return toeWords(q.Low95, f.Decimals) + " to " + toeWords(q.High95, f.Decimals)
}

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
