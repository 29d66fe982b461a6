package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// This file evaluates uncertainty after JCGM 100:2008, the GUM. A result y = f(x₁, x₂, …)
// with sensitivities cᵢ = ∂f/∂xᵢ has the combined standard uncertainty (equation 16)
//
//	u(y)² = Σᵢ Σⱼ cᵢ cⱼ u(xᵢ) u(xⱼ) r(xᵢ, xⱼ),
//
// two results share the covariance of equation H.9, the same sum over the
// sensitivities of both, and the expanded uncertainty is k·u with k from Student's t
// for the effective degrees of freedom of Welch and Satterthwaite (equation G.2b)
//
//	ν = u(y)⁴ / Σᵢ (cᵢ u(xᵢ))⁴ / νᵢ.

// Inputs are what a result is computed from.
type Inputs struct {
	U           []float64     // standard uncertainties
	Dof         []float64     // their degrees of freedom; nil: infinite
	Correlation mat.Symmetric // nil: none are correlated
}

// Covariance of two results with these sensitivities to the inputs.
func (in Inputs) Covariance(a, b []float64) float64 {
	sum := 0.0
	for i, ui := range in.U {
		if in.Correlation == nil {
			sum += a[i] * b[i] * ui * ui
			continue
		}
		for j, uj := range in.U {
			sum += a[i] * b[j] * ui * uj * in.Correlation.At(i, j)
		}
	}
	return sum
}

// Combine is the uncertainty of a result with these sensitivities.
func (in Inputs) Combine(sensitivities []float64) Uncertainty {
	return Uncertainty{U: math.Sqrt(in.Covariance(sensitivities, sensitivities)), Dof: in.effectiveDof(sensitivities)}
}

// effectiveDof is for independent inputs. Of correlated ones, for which the formula does not
// hold (G.4.1), it is the least of those that count: no fewer can be meant.
func (in Inputs) effectiveDof(sensitivities []float64) float64 {
	if in.Dof == nil {
		return math.Inf(1)
	}
	variance, sum, least := 0.0, 0.0, math.Inf(1)
	for i, u := range in.U {
		part := sensitivities[i] * u
		if part == 0 {
			continue
		}
		variance += part * part
		sum += part * part * part * part / in.Dof[i]
		least = min(least, in.Dof[i])
	}
	if in.Correlation != nil || sum == 0 {
		return least
	}
	return variance * variance / sum
}

// Uncertainty is a standard uncertainty with its degrees of freedom.
type Uncertainty struct {
	U   float64
	Dof float64 // infinite when U is known exactly
}

// normalDof are degrees of freedom from which Student's t is the normal
// distribution to five digits of k.
const normalDof = 1e5

// CoverageFactor is k for an interval that holds the value with probability p: by
// Student's t with the degrees of freedom truncated to a whole number, as G.4.1 allows.
func (u Uncertainty) CoverageFactor(p float64) float64 {
	if u.Dof > normalDof {
		return distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(1, math.Floor(u.Dof))}.Quantile((1 + p) / 2)
}

// coverage is the probability that the project's intervals are made for.
const coverage = 0.95

// Of is a value with this uncertainty.
func (u Uncertainty) Of(value float64) Quantity {
	half := u.CoverageFactor(coverage) * u.U
	return Quantity{Value: value, StandardUncertainty: u.U, Low95: value - half, High95: value + half}
}
