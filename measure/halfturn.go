package measure

// HalfTurnMean is the total toe from two sets of photos between which both front
// wheels were turned by half a turn, from their toes of the rims alone. A rim's
// run-out tilts its plane about an axis that turns with it: over half a turn the tilt
// changes sign, so that the mean is free of it, whatever its size.
//
// The two sets share sheets, camera and load, so that their errors may be the same:
// the mean's interval is as wide as the sets' on the average, as for full correlation
// (JCGM 100, 5.2.2, note 1).
func HalfTurnMean(a, b Quantity) Quantity {
	mean := func(x, y float64) float64 { return (x + y) / 2 }
	return Quantity{
		Value:               mean(a.Value, b.Value),
		StandardUncertainty: mean(a.StandardUncertainty, b.StandardUncertainty),
		Low95:               mean(a.Low95, b.Low95),
		High95:              mean(a.High95, b.High95),
	}
}
