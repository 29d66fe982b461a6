package measure

import (
	"cmp"
	"math"
	"slices"
)

// runoutSigmaMm is the standard uncertainty that run-out of the rims adds to total
// toe. A rim that runs out by p peak to peak is tilted on its axle by p/D; where the
// wheel happens to stand, that shows as toe between −p and +p at the rim. With the
// direction unknown and even, each wheel adds p/√2, both together p.
func runoutSigmaMm(peakToPeak float64) float64 { return peakToPeak }

// budget splits the variance of total toe by source (JCGM 100, 5.1), largest first.
func (m *set) budget(f *fitted, runout float64) []BudgetLine {
	parts := VarianceByGroup(f.adjustment.problem(), f.scene, f.covariance(), f.gradient(m.totalToeMm))
	lines := []BudgetLine{{Source: "run-out of the rims (assumed)", Type: "B", ContributionMm: runout}}
	total := runout * runout
	for src := range numSources {
		part := parts[int(src)] * f.inflation() * f.inflation()
		total += part
		lines = append(lines, BudgetLine{Source: src.String(), Type: src.evaluation(), ContributionMm: math.Sqrt(part)})
	}
	for i := range lines {
		lines[i].Share = lines[i].ContributionMm * lines[i].ContributionMm / total
	}
	slices.SortStableFunc(lines, func(a, b BudgetLine) int { return cmp.Compare(b.ContributionMm, a.ContributionMm) })
	return lines
}
