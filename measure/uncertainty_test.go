package measure

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// JCGM 100:2008 (the GUM), annex H.1: calibration of an end gauge of 50 mm by comparison.
// Values from memory of that document, the arithmetic done again by hand from its
// formulas. Lengths in nm, temperatures in °C.
func TestEndGauge(t *testing.T) {
	// The measured difference: the mean of 5 observations whose standard deviation of 13 nm
	// was found from 25; the comparator's random effects, 10 nm at 95 % from 6
	// measurements; its systematic ones, 20 nm at three standard deviations, known to 25 %.
	difference := Inputs{U: []float64{13 / math.Sqrt(5), 10 / 2.57, 20.0 / 3}, Dof: []float64{24, 5, 8}}.Combine([]float64{1, 1, 1})
	assert.Equal(t, "9.7", fixedDigits(difference.U, 1), "nm, H.1.3.2")
	assert.Equal(t, "25.6", fixedDigits(difference.Dof, 1), "H.1.6")

	const standard = 50.000623e6 // length of the standard
	const expansion = 11.5e-6    // its coefficient, per °C
	const off = -0.1             // mean temperature of the bench against 20 °C
	temperature := Inputs{U: []float64{0.2, 0.5 / math.Sqrt2}}.Combine([]float64{1, 1})
	assert.Equal(t, "0.41", fixedDigits(temperature.U, 2), "°C, H.1.3.4")

	names := []string{"standard", "difference", "expansion", "temperature", "difference of expansions", "difference of temperatures"}
	in := Inputs{
		U:   []float64{25, difference.U, 2 / math.Sqrt(3) * 1e-6, temperature.U, 1 / math.Sqrt(3) * 1e-6, 0.05 / math.Sqrt(3)},
		Dof: []float64{18, difference.Dof, math.Inf(1), math.Inf(1), 50, 2},
	}
	sensitivities := []float64{1, 1, 0, 0, -standard * off, -standard * expansion}
	for i, want := range []string{"25.0", "9.7", "0.0", "0.0", "2.9", "16.6"} {
		assert.Equal(t, want, fixedDigits(math.Abs(sensitivities[i])*in.U[i], 1), "%s, nm, table H.1", names[i])
	}
	length := in.Combine(sensitivities)
	assert.Equal(t, "32", fixedDigits(length.U, 0), "nm, H.1.4")
	assert.InDelta(t, 16.7, length.Dof, 0.1, "H.1.6, there from rounded terms")
	assert.Equal(t, "2.92", fixedDigits(length.CoverageFactor(0.99), 2), "t99(16), H.1.6")
	assert.Equal(t, "93", fixedDigits(length.CoverageFactor(0.99)*math.Round(length.U), 0), "U99 in nm, H.1.6, from the rounded 32")
	assert.Equal(t, "50.000838", fixedDigits((standard+215)*1e-6, 6), "mm, H.1.5")
}

// JCGM 100:2008, annex H.2: resistance, reactance and impedance from five simultaneous
// observations of voltage, current and phase, which are correlated. Values from memory
// of that document.
func TestResistanceAndReactance(t *testing.T) {
	observations := [][]float64{
		{5.007, 4.994, 5.005, 4.990, 4.999},                     // V
		{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}, // A
		{1.0456, 1.0438, 1.0468, 1.0428, 1.0433},                // rad
	}
	mean, in := make([]float64, 3), Inputs{U: make([]float64, 3)}
	correlation := mat.NewSymDense(3, nil)
	for i, list := range observations {
		mean[i], in.U[i] = stat.Mean(list, nil), stat.StdErr(stat.StdDev(list, nil), 5)
		for j, other := range observations {
			correlation.SetSym(i, j, stat.Correlation(list, other, nil))
		}
	}
	in.Correlation = correlation
	assert.Equal(t, []string{"0.0032", "0.0095", "0.00075"},
		[]string{fixedDigits(in.U[0], 4), fixedDigits(1e3*in.U[1], 4), fixedDigits(in.U[2], 5)}, "table H.2")
	assert.Equal(t, []string{"-0.36", "0.86", "-0.65"},
		[]string{fixedDigits(correlation.At(0, 1), 2), fixedDigits(correlation.At(0, 2), 2), fixedDigits(correlation.At(1, 2), 2)}, "table H.2")

	z := mean[0] / mean[1]
	sin, cos := math.Sincos(mean[2])
	results := []struct {
		name           string
		value          float64
		sensitivities  []float64
		printed, withU string
		computed       float64 // u by an independent script
	}{
		{"R", z * cos, []float64{cos / mean[1], -z * cos / mean[1], -z * sin}, "127.732", "0.071", 0.07107},
		{"X", z * sin, []float64{sin / mean[1], -z * sin / mean[1], z * cos}, "219.847", "0.295", 0.29558},
		{"Z", z, []float64{1 / mean[1], -z / mean[1], 0}, "254.260", "0.236", 0.23634},
	}
	correlated := func(a, b int) string {
		ca, cb := results[a].sensitivities, results[b].sensitivities
		return fixedDigits(in.Covariance(ca, cb)/(in.Combine(ca).U*in.Combine(cb).U), 3)
	}
	for _, r := range results {
		assert.Equal(t, r.printed, fixedDigits(r.value, 3), "%s in Ω, table H.3", r.name)
		u := in.Combine(r.sensitivities).U
		assert.InDelta(t, r.computed, u, 1e-5, "u(%s)", r.name)
		if r.name != "X" {
			assert.Equal(t, r.withU, fixedDigits(u, 3), "u(%s) in Ω, table H.3", r.name)
		}
	}
	// The 0.295 printed for X is the scatter of the five single results (H.2.4, the second
	// approach, 0.29549); the formula makes 0.29558, which rounds to 0.296.
	var single []float64
	for i := range observations[0] {
		single = append(single, observations[0][i]/observations[1][i]*math.Sin(observations[2][i]))
	}
	assert.Equal(t, "0.295", fixedDigits(stat.StdErr(stat.StdDev(single, nil), 5), 3), "u(X) in Ω, table H.4")
	assert.InDelta(t, 0.295, in.Combine(results[1].sensitivities).U, 0.001, "u(X), to one unit of the last printed digit")
	assert.Equal(t, "-0.588", correlated(0, 1), "r(R, X)")
	assert.Equal(t, "-0.485", correlated(0, 2), "r(R, Z)")
	assert.Equal(t, "0.993", correlated(1, 2), "r(X, Z)")
}

// Student's t at 95 %: JCGM 100:2008, table G.2, from memory.
func TestCoverageFactor(t *testing.T) {
	for dof, want := range map[float64]string{1: "12.71", 2: "4.30", 4: "2.78", 10: "2.23", 20: "2.09", 50: "2.01", math.Inf(1): "1.96", 10.9: "2.23"} {
		assert.Equal(t, want, fixedDigits(Uncertainty{U: 1, Dof: dof}.CoverageFactor(0.95), 2), "%g degrees of freedom", dof)
	}
}

// Inputs said to be uncorrelated, and said so by an identity matrix.
func TestUncorrelated(t *testing.T) {
	in := Inputs{U: []float64{1, 2, 3}, Dof: []float64{4, 7, math.Inf(1)}}
	c := []float64{-1, 0.5, 2}
	alike := in
	alike.Correlation = mat.NewDiagDense(3, []float64{1, 1, 1})
	assert.Equal(t, in.Combine(c).U, alike.Combine(c).U)
	assert.Equal(t, 4.0, alike.Combine(c).Dof)
	assert.True(t, math.IsInf(Inputs{U: []float64{1}}.Combine([]float64{2}).Dof, 1))
	assert.True(t, math.IsInf(in.Combine([]float64{0, 0, 1}).Dof, 1))
}

func fixedDigits(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
