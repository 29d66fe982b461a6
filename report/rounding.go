package report

import (
	"math"
	"strconv"

	"rimpair/measure"
)

// figures is a quantity rounded for people. Known is false when there is no
// usable interval, and then no figure may be shown.
type figures struct {
	Value, Half, Low, High string
	Decimals               int
	Known                  bool
}

// round writes a quantity with two significant digits of its half-width. The
// half-width is rounded up, so that a rounded interval never claims more.
func round(q measure.Quantity) figures {
	half := math.Max(q.High95-q.Value, q.Value-q.Low95)
	holds := q.Low95 <= q.Value && q.Value <= q.High95
	if !holds || half == 0 || math.IsInf(half, 0) || math.IsNaN(half) {
		return figures{}
	}
	d := decimals(half)
	return figures{
		Value:    fixed(q.Value, d),
		Half:     halfWidth(half),
		Low:      fixed(q.Low95, d),
		High:     fixed(q.High95, d),
		Decimals: d,
		Known:    true,
	}
}

// halfWidth writes a half-width alone.
func halfWidth(half float64) string {
	d := decimals(half)
	return fixed(roundUp(half, d), d)
}

// negligible is the part of the last digit that is not rounded up: JCGM 100 rounds
// 10.47 to 11, but 28.05 to 28.
const negligible = 0.1

func roundUp(v float64, decimals int) float64 {
	unit := math.Pow10(-decimals)
	return math.Ceil(v/unit-negligible) * unit
}

// decimals is the number of decimal places that show u with two significant
// digits; below zero it asks for rounding to tens, hundreds and so on.
func decimals(u float64) int {
	d := 1 - int(math.Floor(math.Log10(u)))
	if roundUp(u, d)*math.Pow10(d) > 99.5 { // 0.0998 is 0.10, not 0.100
		d--
	}
	return d
}

// fixed writes v with that many decimals, and never "-0".
func fixed(v float64, decimals int) string {
	if decimals < 0 {
		unit := math.Pow10(-decimals)
		v, decimals = math.Round(v/unit)*unit, 0
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if zero, _ := strconv.ParseFloat(s, 64); zero == 0 && s[0] == '-' {
		return s[1:]
	}
	return s
}
