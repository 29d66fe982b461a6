package measure

import (
	"cmp"
	"math"
	"slices"
)

// This file is the uncertainty budget of total toe (JCGM 100, see uncertainty.go).
//
// The adjustment gives every unknown, and so total toe, as a function of what was
// observed and what was known beforehand. Around the solution it is linear: with C the
// covariance of the unknowns and g the gradient of total toe, an observation or prior of
// value x, standard uncertainty σ and residual derivatives j (by σ) moves it by
//
//	c = ∂toe/∂x = gᵀ C j / σ,
//
// the sensitivity of JCGM 100, 5.1.3. All of them are independent, so their
// contributions |c|·σ add up in squares to gᵀ C g. A source that is one number, such
// as a camera's focal length, has its own c. A source of many, such as
// all the corners, has the root of the sum of their squares, and for its standard
// uncertainty what makes the product right: the root mean square of their σ, weighted
// by c². Kinds of one source are brought to one unit: a tilt counts in mm at the edge
// of what it tilts, a change of focal length in px at the picture's edge.
//
// Points, corners and a tyre's wobble are weighted as if they were less certain than they are,
// and stated as they are; see reserve.
//
// Where the residuals are larger than stated, all σ count as so much larger.

// runoutSigmaMm is the standard uncertainty that run-out of the rims adds to total
// toe. A rim that runs out by p peak to peak is tilted on its axle by p/D; where the
// wheel happens to stand, that shows as toe between −p and +p at the rim. With the
// direction unknown and even, each wheel adds p/√2, both together p.
func runoutSigmaMm(peakToPeak float64) float64 { return peakToPeak }

func runoutLine(peakToPeak float64) BudgetLine {
	u := runoutSigmaMm(peakToPeak)
	return BudgetLine{
		Code: "runout_assumed", Type: "B", Unit: "mm",
		StandardUncertainty: u, Sensitivity: 1, ContributionMm: u,
	}
}

// lines of the adjustment's sources for a quantity with this gradient, in mm.
func (f *fitted) lines(gradient []float64) []BudgetLine {
	shares := Shares(f.adjustment.problem(), f.scene, f.solution.Covariance, gradient)
	var lines []BudgetLine
	for src := range numSources {
		share, ok := shares[int(src)]
		if !ok {
			continue
		}
		sigma := share.SigmaRms
		if share.Sensitivity > 0 {
			sigma = math.Sqrt(share.Variance) / share.Sensitivity
		}
		lines = append(lines, BudgetLine{
			Code: src.code(), Type: src.evaluation(), Unit: src.unit(),
			StandardUncertainty: sigma * f.inflation(),
			Sensitivity:         share.Sensitivity,
			ContributionMm:      math.Sqrt(share.Variance) * f.inflation(),
			DegreesOfFreedom:    finite(f.sourceDof(src)),
		})
	}
	return lines
}

// sourceDof are the degrees of freedom of a source's standard uncertainty. For type A
// they are the redundancy of the observations, but no more than their χ²: where errors
// hang together, σ was widened so that χ² counts the independent ones (see scatter).
// Type B figures are chosen so that it is unlikely that they are too small, which makes
// them infinite (JCGM 100, G.4.3).
func (f *fitted) sourceDof(src source) float64 {
	if src.evaluation() == "B" {
		return math.Inf(1)
	}
	if f.scatters == nil {
		f.scatters = Scatters(f.adjustment.problem(), f.scene, f.solution.Covariance)
	}
	s := f.scatters[int(src)]
	return max(1, min(s.Redundancy, s.ChiSquare))
}

// finite is nil for infinitely many, which JSON has no number for.
func finite(dof float64) *float64 {
	if math.IsInf(dof, 1) {
		return nil
	}
	return &dof
}

// combined is the uncertainty that lines of a budget make together.
func combined(lines []BudgetLine) Uncertainty {
	var in Inputs
	var ones []float64
	for _, line := range lines {
		dof := math.Inf(1)
		if line.DegreesOfFreedom != nil {
			dof = *line.DegreesOfFreedom
		}
		in.U, in.Dof, ones = append(in.U, line.ContributionMm), append(in.Dof, dof), append(ones, 1)
	}
	return in.Combine(ones)
}

// budget is that of total toe, largest first.
func (m *set) budget(f *fitted, steering BudgetLine) []BudgetLine {
	lines := append(f.lines(f.gradient(m.totalToeMm)), m.runoutLine(), steering)
	variance := math.Pow(combined(lines).U, 2)
	for i := range lines {
		lines[i].Share = lines[i].ContributionMm * lines[i].ContributionMm / variance
	}
	slices.SortStableFunc(lines, func(a, b BudgetLine) int { return cmp.Compare(b.ContributionMm, a.ContributionMm) })
	return lines
}

// expanded is the uncertainty for an interval of 95 %.
func expanded(u Uncertainty) Expanded {
	k := u.CoverageFactor(coverage)
	return Expanded{
		StandardUncertaintyMm: u.U, DegreesOfFreedom: finite(u.Dof), CoverageFactor: k, ExpandedUncertaintyMm: k * u.U,
	}
}
