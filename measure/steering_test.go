package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Ackermann's condition itself, cot δ_outer − cot δ_inner = T/L, about the mean angle; and
// the project's design figure of 0.4 mm at 2°, with a rim of 418 mm and a track of 0.8 of
// the wheelbase.
func TestAckermann(t *testing.T) {
	const rim, track, base = 418.0, 800.0, 1000.0
	assert.InDelta(t, 0.4, ackermannMm(rim, 2/degPerRad, track, base), 0.01)
	for _, deg := range []float64{0.5, 1, 2, 4} {
		mean := deg / degPerRad
		// About a point at distance ρ from the middle: tan δ = L/(ρ ∓ T/2).
		rho := base / math.Tan(mean)
		inner, outer := math.Atan(base/(rho-track/2)), math.Atan(base/(rho+track/2))
		assert.InDelta(t, track/base, 1/math.Tan(outer)-1/math.Tan(inner), 1e-9)
		// The next term is of the order δ² smaller.
		assert.InEpsilon(t, rim*(inner-outer), ackermannMm(rim, mean, track, base), 2*mean*mean)
		assert.Equal(t, ackermannMm(rim, mean, track, base), ackermannMm(rim, -mean, track, base), "to either side")
	}
}

// The line of unknown steering is the root mean square of the bias over angles evenly
// spread, the linkage's own deviation apart.
func TestUnknownSteering(t *testing.T) {
	scene := &Scene{}
	for side := range scene.Wheels {
		scene.Wheels[side].Centre.X = Side(side).sign() * 400
	}
	m := &set{settings: Settings{SteerWithinDeg: 3}, knowledge: knowledge{rims: [2]float64{203, 203}}}
	const n = 2000
	sum := 0.0
	for i := range n {
		off := 3 / degPerRad * (2*(float64(i)+0.5)/n - 1)
		bias := ackermannMm(m.rimsMm(scene)/2, off, 800, usualWheelbaseMm)
		sum += bias * bias
	}
	line := m.steeringLine(scene, nil)
	assert.InEpsilon(t, math.Sqrt(sum/n)*math.Hypot(1, ackermannSigma), line.ContributionMm, 1e-5)
	m.settings.SteerWithinDeg = 0
	assert.Zero(t, m.steeringLine(scene, nil).ContributionMm)
}

// Where the rear wheel shows the steering, the line is the root mean square of the bias
// over what it may be, and total toe straight ahead is spread as the bias is, the
// linkage's own deviation apart: both by quadrature over the normal distribution.
func TestKnownSteering(t *testing.T) {
	scene := &Scene{}
	for side := range scene.Wheels {
		scene.Wheels[side].Centre.X = Side(side).sign() * 400
	}
	m := &set{knowledge: knowledge{rims: [2]float64{203, 203}}}
	for _, c := range []struct{ off, u float64 }{{0, 0.3}, {0.5, 0.3}, {-2, 0.3}} {
		rear := &RearResult{SteeringOffDeg: quantity(c.off, c.u), WheelbaseMm: quantity(1050, 10)}
		u := math.Hypot(c.u, centringSigmaMm/1050*degPerRad)
		var weight, sum, squares float64
		for z := -8.0; z <= 8; z += 0.01 {
			w := math.Exp(-z * z / 2)
			bias := ackermannMm(m.rimsMm(scene)/2, (c.off+z*u)/degPerRad, 800, 1050)
			weight, sum, squares = weight+w, sum+w*bias, squares+w*bias*bias
		}
		mean, rms := sum/weight, math.Sqrt(squares/weight)
		assert.InEpsilon(t, rms*math.Hypot(1, ackermannSigma), m.steeringLine(scene, rear).ContributionMm, 1e-6)

		shown := ackermannMm(m.rimsMm(scene)/2, c.off/degPerRad, 800, 1050)
		straight := m.straightAhead(scene, rear, quantity(2, 0))
		assert.InDelta(t, 2+shown, straight.Value, 1e-9)
		assert.InEpsilon(t, math.Hypot(math.Sqrt(rms*rms-mean*mean), ackermannSigma*shown), straight.StandardUncertainty, 1e-6)
	}
}
