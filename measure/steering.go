package measure

import "math"

// This file is about steering that is not straight ahead, which changes total toe.
//
// In a turn about a point on the line through the rear wheel's axle, at distance ρ from
// the vehicle's middle, wheels that roll freely are steered by tan δ = L/(ρ ∓ T/2), L the
// wheelbase and T the track, the inner one more (Ackermann's condition; any handbook of
// vehicle dynamics, from memory):
//
//	cot δ_outer − cot δ_inner = T/L.
//
// For small δ that is δ_inner − δ_outer = δ² T/L: whichever way, steering turns the wheels
// apart in front. At the rim, of diameter D, a pair steered by δ shows c δ² less toe-in
// than straight ahead, c = D T/L.
//
// Total toe stays as the wheels stood; its budget has a line for what they may differ from
// straight ahead, of root mean square c √E(δ⁴). Steered anywhere within ±δ_max, evenly,
// E(δ⁴) = δ_max⁴/5; steered by δ ± u as the rear wheel shows it, E(δ⁴) = δ⁴ + 6 δ²u² + 3 u⁴.
// What total toe is straight ahead is then said beside it.

const (
	// Linkages meet the condition only about; as a standard uncertainty relative to it:
	// builders' practice, no source.
	ackermannSigma = 0.5
	// centringSigmaMm is how far a rear wheel may sit beside the line that the linkage is
	// centred on: builders' practice, no source.
	centringSigmaMm = 3.0
	// usualWheelbaseMm is taken where the rear wheel is not seen: builders' practice, no
	// source.
	usualWheelbaseMm = 1000.0
)

// UsualSteerWithinDeg is as straight as one sets a steering by eye; common practice, no
// source.
const UsualSteerWithinDeg = 1.0

// SteeringSource is the code of the budget's line for steering off centre.
const SteeringSource = "steering_off_centre"

// ackermannMm is by how much more toe-in the wheels have straight ahead than steered.
func ackermannMm(rimMm, offRad, trackMm, wheelbaseMm float64) float64 {
	return rimMm * offRad * offRad * trackMm / wheelbaseMm
}

// steeringLine is the budget's for steering off centre, as the rear wheel shows it, or as
// far as was said where it is not seen.
func (m *set) steeringLine(s *Scene, rear *RearResult) BudgetLine {
	within := m.settings.SteerWithinDeg / degPerRad
	fourth, base := math.Pow(within, 4)/5, usualWheelbaseMm
	if rear != nil {
		off, u := rear.steeringOffRad()
		fourth, base = math.Pow(off, 4)+6*off*off*u*u+3*math.Pow(u, 4), rear.WheelbaseMm.Value
	}
	u := ackermannMm(m.rimsMm(s)/2, 1, m.trackMm(s), base) * math.Sqrt(fourth) * math.Hypot(1, ackermannSigma)
	return BudgetLine{
		Code: SteeringSource, Type: "B", Unit: "mm", StandardUncertainty: u, Sensitivity: 1, ContributionMm: u,
	}
}

// steeringOffRad is the steering angle, and how well the linkage's own is known by it.
func (r *RearResult) steeringOffRad() (off, u float64) {
	return r.SteeringOffDeg.Value / degPerRad, math.Hypot(r.SteeringOffDeg.StandardUncertainty/degPerRad, centringSigmaMm/r.WheelbaseMm.Value)
}

// straightAhead is total toe with the steering straight ahead, from that of the rims as
// they stood. The square of an angle δ ± u has the variance 4 δ²u² + 2 u⁴.
func (m *set) straightAhead(s *Scene, rear *RearResult, rims Quantity) Quantity {
	off, u := rear.steeringOffRad()
	perSquare := ackermannMm(m.rimsMm(s)/2, 1, m.trackMm(s), rear.WheelbaseMm.Value)
	more := perSquare * off * off
	square := perSquare * math.Hypot(2*off*u, math.Sqrt2*u*u)
	stood := math.Hypot(rims.StandardUncertainty, m.runoutSigmaMm())
	return quantity(rims.Value+more, math.Hypot(stood, math.Hypot(square, ackermannSigma*more)))
}
