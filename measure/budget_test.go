package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The lines of a budget make up the variance that the covariance of the unknowns
// gives, and each is its standard uncertainty times its sensitivity.
func TestBudgetAddsUp(t *testing.T) {
	d := newDraw(t, rand.New(rand.NewPCG(5, 1)))
	f := d.solve(t)
	gradient := f.gradient(d.set.totalToeMm)
	lines := f.lines(gradient)
	toe := combined(lines)
	want := f.inflation() * math.Sqrt(variance(f.covariance(), gradient))
	assert.InEpsilon(t, want, toe.U, 1e-9)
	for _, line := range lines {
		assert.InEpsilon(t, line.ContributionMm, line.StandardUncertainty*line.Sensitivity, 1e-9, line.Code)
		assert.Equal(t, line.Type == "B", line.DegreesOfFreedom == nil, line.Code)
	}
	assert.Greater(t, toe.Dof, 100.0, "hundreds of points")

	d.set.settings.RunoutMm = 0.5
	total := 0.0
	steering := BudgetLine{ContributionMm: 0.3}
	for _, line := range d.set.budget(f, steering) {
		total += line.Share
	}
	assert.InDelta(t, 1, total, 1e-12)
	whole := expanded(combined(d.set.budget(f, steering)))
	assert.InEpsilon(t, math.Hypot(math.Hypot(toe.U, 0.5), 0.3), whole.StandardUncertaintyMm, 1e-9)
	assert.InEpsilon(t, whole.CoverageFactor*whole.StandardUncertaintyMm, whole.ExpandedUncertaintyMm, 1e-12)
}

// A sensitivity is by how much total toe moves when what is said of a source is
// changed and everything adjusted anew.
func TestSensitivity(t *testing.T) {
	d := newDraw(t, rand.New(rand.NewPCG(6, 1)))
	// Without residuals, which bend what the adjustment takes as straight (Gauss-Newton).
	d.adjustment.corners, d.adjustment.edges = observe(d.truth, func() float64 { return 0 })
	for i := range d.adjustment.priors {
		p := &d.adjustment.priors[i]
		p.mean = p.value(d.truth)
	}
	solve := func() *fitted {
		solution, err := Solve(d.adjustment.problem(), d.start, Options{Tolerance: 1e-7})
		require.NoError(t, err)
		return &fitted{scene: solution.State, adjustment: d.adjustment, solution: solution}
	}
	f := solve()
	lines := map[string]BudgetLine{}
	for _, line := range f.lines(f.gradient(d.set.totalToeMm)) {
		lines[line.Code] = line
	}
	for _, src := range []source{sourceFocal, sourcePrincipal, sourcePrintScale, sourceRimSize} {
		sum := 0.0
		for i := range d.adjustment.priors {
			p := &d.adjustment.priors[i]
			if p.source != src {
				continue
			}
			step := 0.2 * p.sigma
			p.mean += step
			up := d.set.totalToeMm(solve().scene)
			p.mean -= 2 * step
			moved := (up - d.set.totalToeMm(solve().scene)) / 2
			p.mean += step
			if p.scale != 0 {
				step *= p.scale
			}
			sum += moved * moved / (step * step)
		}
		line := lines[src.code()]
		assert.InEpsilon(t, line.Sensitivity, math.Sqrt(sum), 1e-3, line.Code)
	}
}
