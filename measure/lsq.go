package measure

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// This file is the solver of the joint adjustment: weighted nonlinear least
// squares with many observations that each touch few unknowns.
//
// With residuals r (already divided by their σ) and derivatives J = ∂r/∂δ it
// minimises ½ Σ ρ(r²). Each step solves the normal equations
//
//	(JᵀWJ + λD²) δ = −JᵀWr,  W = diag(ρ'(r²)),
//
// accumulated row by row and scaled to a unit diagonal before the Cholesky
// factorisation (D, the largest column norms so far: Moré, "The
// Levenberg-Marquardt algorithm: implementation and theory", 1978). λ follows
// Nielsen's rule (Madsen, Nielsen, Tingleff, "Methods for non-linear least
// squares problems", 2nd ed., 2004, algorithm 3.16).
//
// It stops by the relative offset of Bates and Watts ("A relative offset
// orthogonality convergence criterion for nonlinear least squares",
// Technometrics 23, 1981): the distance to the minimum, counted in the unknowns'
// own uncertainties, which no change of units or of parameters alters.

// Row is one observation: its residual and the derivatives of the residual by
// the unknowns it touches, both divided by the observation's standard
// uncertainty. The solver keeps no reference to the slices.
type Row struct {
	Cols     []int     // the unknowns, each at most once
	Derivs   []float64 // ∂Residual/∂δ, one for each of Cols
	Residual float64
	Loss     Loss // nil: plain squares
	Group    int  // what the observation is, for Shares and Scatters
	// Sigma is the observation's standard uncertainty in the unit in which its group's
	// sensitivity is wanted; 0: 1.
	Sigma float64
	// Reserve is how many times as large as the observation's errors the standard uncertainty
	// is that its weight stands for; 0: 1. It leaves the solution as it is.
	Reserve float64
}

// spread is the standard deviation of the residual where its weight stands for 1.
func (r *Row) spread() float64 { return 1 / cmp.Or(r.Reserve, 1) }

// along is how the residual changes along a direction of the unknowns.
func (r *Row) along(direction *mat.VecDense) (sum float64) {
	for k, c := range r.Cols {
		sum += r.Derivs[k] * direction.AtVec(c)
	}
	return sum
}

// Problem is an adjustment whose state S may be anything: numbers, rotation
// matrices, whole cameras. The solver only moves it by small steps δ.
type Problem[S any] struct {
	Unknowns int
	// Rows hands each observation at state s to emit. It returns false when s is
	// impossible (a point behind its camera, say); the solver then steps back.
	Rows func(s S, emit func(Row)) bool
	// Parts are the same observations in pieces that may be asked for at once; nil: Rows is
	// the only one.
	Parts []func(s S, emit func(Row)) bool
	// Plus returns s moved by δ and leaves s as it was. Derivatives in Rows are
	// those by δ at δ = 0.
	Plus func(s S, delta []float64) S
}

// pieces of the problem's observations.
func (p *Problem[S]) pieces() []func(s S, emit func(Row)) bool {
	if p.Parts == nil {
		return []func(s S, emit func(Row)) bool{p.Rows}
	}
	return p.Parts
}

// Options tune Solve; the zero value is good.
type Options struct {
	MaxIterations int     // steps tried; 0: 100
	Tolerance     float64 // relative offset at which to stop; 0: 1e-8
	// Damping is the first λ; 0: 1e-3. A start that may be far off, from where the
	// first full step would leap to nowhere, wants 1 to 1e4.
	Damping float64
}

// Solution is where Solve stopped.
type Solution[S any] struct {
	State      S
	Cost       float64 // ½ Σ ρ(r²); with plain squares half of χ²
	Rows       int     // observations, priors included
	Iterations int
	// Covariance of δ, as the stated σ of the observations make it: the inverse of
	// JᵀWJ, not multiplied by χ² per degree of freedom.
	Covariance *mat.SymDense
	Condition  float64 // of JᵀWJ scaled to a unit diagonal
}

// ErrStart says that the state to start from is impossible.
var ErrStart = errors.New("least squares: the start is impossible")

// ErrNotConverged says that the minimum was not reached.
var ErrNotConverged = errors.New("least squares: not converged")

// RankError says that the observations do not settle all unknowns.
type RankError struct {
	Unknown   int     // the unknown that the undetermined direction moves most
	Condition float64 // of the scaled normal matrix; +Inf when it is singular
}

func (e *RankError) Error() string {
	return fmt.Sprintf("least squares: unknown %d is not determined (condition %.1e)", e.Unknown, e.Condition)
}

const (
	defaultIterations = 100
	defaultTolerance  = 1e-8
	// absoluteOffset ends problems without any residual, whose relative offset
	// never vanishes: a billionth of the unknowns' uncertainties, above the rounding
	// of coordinates of some thousand pixels with σ of a tenth (some 1e-11).
	absoluteOffset = 1e-9
	defaultDamping = 1e-3 // Nielsen's τ for a fair start
	maxDamping     = 1e30
	// Below costDigits of the cost a predicted decrease drowns in the rounding of
	// the sum, and whether a step helps is judged by the offset instead.
	costDigits = 1e-13
	// maxCondition is where a covariance has lost all its digits: rounding of the
	// normal matrix (2e-16 for each of some tens of terms) times the condition.
	maxCondition = 1e14
)

// Solve minimises the problem from start. On ErrNotConverged and *RankError the
// solution still tells where it stopped, the latter without a covariance.
func Solve[S any](p Problem[S], start S, opt Options) (Solution[S], error) {
	if opt.MaxIterations == 0 {
		opt.MaxIterations = defaultIterations
	}
	if opt.Tolerance == 0 {
		opt.Tolerance = defaultTolerance
	}
	if opt.Damping == 0 {
		opt.Damping = defaultDamping
	}
	here, ok := linearise(p, start)
	if !ok {
		return Solution[S]{State: start}, ErrStart
	}
	state := start
	scale := here.columnNorms(nil)
	offset := here.offset(scale)
	damping, growth := opt.Damping, 2.0
	iterations := 0
	converged := func() bool {
		return offset <= opt.Tolerance*math.Sqrt(2*here.cost)+absoluteOffset
	}
	for ; !converged() && iterations < opt.MaxIterations && damping < maxDamping; iterations++ {
		var trial *normal
		var trialState S
		delta, predicted, ok := here.step(scale, damping)
		if ok {
			trialState = p.Plus(state, delta)
			trial, ok = linearise(p, trialState)
		}
		if ok {
			gain := (here.cost - trial.cost) / predicted
			if predicted < costDigits*here.cost {
				if trial.offset(scale) >= offset {
					break // as near as the arithmetic allows
				}
				gain = 1
			}
			if ok = gain > 0; ok {
				damping *= max(1.0/3, 1-math.Pow(2*gain-1, 3))
				growth = 2
			}
		}
		if !ok {
			damping *= growth
			growth *= 2
			continue
		}
		state, here = trialState, trial
		scale = here.columnNorms(scale)
		offset = here.offset(scale)
	}
	s := Solution[S]{State: state, Cost: here.cost, Rows: here.rows, Iterations: iterations}
	var err error
	s.Covariance, s.Condition, err = here.covariance()
	// Where rounding stopped the descent, the offset still has to be small.
	if err == nil && offset > max(1e-4, opt.Tolerance)*math.Sqrt(2*here.cost)+absoluteOffset {
		err = ErrNotConverged
	}
	return s, err
}

// Covariance is that of δ at state s, as Solution.Covariance. No residual enters
// it but through the losses, so it also forecasts what observations not yet
// made would be worth.
func Covariance[S any](p Problem[S], s S) (*mat.SymDense, error) {
	n, ok := linearise(p, s)
	if !ok {
		return nil, ErrStart
	}
	c, _, err := n.covariance()
	return c, err
}

// Propagated is the covariance of δ as the observations' errors make it. With C the inverse
// of JᵀWJ the estimate is −C Jᵀ W r, and its covariance C Jᵀ W V J C, V being by how much less
// the variances are than their weights stand for: C itself where none has a reserve.
func Propagated[S any](p Problem[S], s S, covariance mat.Symmetric) *mat.SymDense {
	spread := Problem[S]{Unknowns: p.Unknowns}
	for _, piece := range p.pieces() {
		spread.Parts = append(spread.Parts, func(s S, emit func(Row)) bool {
			var derivs []float64
			return piece(s, func(r Row) {
				derivs = derivs[:0]
				for _, d := range r.Derivs {
					derivs = append(derivs, d*r.spread())
				}
				r.Derivs = derivs
				emit(r)
			})
		})
	}
	n, _ := linearise(spread, s)
	return carried(covariance, n.matrix)
}

// carried is A C Aᵀ, the covariance of A·x where that of x is C.
func carried(a mat.Matrix, covariance mat.Symmetric) *mat.SymDense {
	var half, full mat.Dense
	half.Mul(mat.DenseCopyOf(a), covariance) // of two symmetric ones gonum asks for each element
	full.Mul(&half, a.T())
	n, _ := full.Dims()
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c.SetSym(i, j, full.At(i, j))
		}
	}
	return c
}

// Share is what the observations of one group bring to a quantity.
type Share struct {
	// Variance of the quantity that comes from these observations, of those that add up to
	// gradientᵀ·Propagated·gradient.
	Variance float64
	// Sensitivity of the quantity to their values: of one observation or prior, by how
	// much the quantity moves for each unit of its value; of several the root of the sum
	// of squares, so that with equal σ the variance is (σ·Sensitivity)².
	Sensitivity float64
	SigmaRms    float64 // root mean square of the observations' Sigma
}

// Shares splits the variance of the quantity whose gradient by δ is given by the
// groups of observations.
func Shares[S any](p Problem[S], s S, covariance mat.Symmetric, gradient []float64) map[int]Share {
	var direction mat.VecDense
	direction.MulVec(covariance, mat.NewVecDense(len(gradient), gradient))
	shares, counts := map[int]Share{}, map[int]float64{}
	p.Rows(s, func(r Row) {
		_, weight := r.Loss.at(r.Residual)
		sigma := cmp.Or(r.Sigma, 1)
		along := r.along(&direction)
		share := shares[r.Group]
		share.Variance += weight * along * along * r.spread() * r.spread()
		share.Sensitivity = math.Hypot(share.Sensitivity, weight*along/sigma)
		share.SigmaRms += sigma * sigma * r.spread() * r.spread()
		shares[r.Group] = share
		counts[r.Group]++
	})
	for k, share := range shares {
		share.SigmaRms = math.Sqrt(share.SigmaRms / counts[k])
		shares[k] = share
	}
	return shares
}

// Scatter is what the residuals of one group of observations show.
type Scatter struct {
	ChiSquare float64 // Σ W r²
	// Redundancy is the part of the observations that is left to show their errors,
	// Σ W(1 − W J C Jᵀ) (Förstner, "Ein Verfahren zur Schätzung von Varianz- und
	// Kovarianzkomponenten", AVN 86, 1979, from memory): the expected χ².
	Redundancy float64
}

// Scatters of all groups at the solution s.
func Scatters[S any](p Problem[S], s S, covariance mat.Symmetric) map[int]Scatter {
	scatters := map[int]Scatter{}
	p.Rows(s, func(r Row) {
		_, weight := r.Loss.at(r.Residual)
		var fitted float64
		for k, c := range r.Cols {
			for l, e := range r.Cols {
				fitted += r.Derivs[k] * covariance.At(c, e) * r.Derivs[l]
			}
		}
		scatter := scatters[r.Group]
		scatter.ChiSquare += weight * r.Residual * r.Residual
		scatter.Redundancy += weight * (1 - weight*fitted)
		scatters[r.Group] = scatter
	})
	return scatters
}

// Loss is ρ(s) and its slope ρ'(s), the weight, for a squared residual s. It is
// the identity for small s and grows more slowly for gross errors.
type Loss func(s float64) (rho, weight float64)

func (l Loss) at(residual float64) (rho, weight float64) {
	s := residual * residual
	if l == nil {
		return s, 1
	}
	return l(s)
}

// Huber's loss: squares up to |r| = k, straight beyond (Huber, "Robust
// estimation of a location parameter", 1964). It has one minimum where the
// squares have one.
func Huber(k float64) Loss {
	return func(s float64) (float64, float64) {
		if s <= k*k {
			return s, 1
		}
		r := math.Sqrt(s)
		return 2*k*r - k*k, k / r
	}
}

// Tukey's biweight: observations beyond |r| = k count nothing (Beaton, Tukey,
// "The fitting of power series", Technometrics 16, 1974). It wants a good start.
func Tukey(k float64) Loss {
	return func(s float64) (float64, float64) {
		k2 := k * k
		if s >= k2 {
			return k2 / 3, 0
		}
		u := 1 - s/k2
		return k2 / 3 * (1 - u*u*u), u * u
	}
}

// normal holds the normal equations at one state.
type normal struct {
	matrix   *mat.SymDense // JᵀWJ
	gradient []float64     // JᵀWr
	cost     float64
	rows     int
}

// linearise accumulates the normal equations; ok is false when the state is
// impossible or a number is not finite.
func linearise[S any](p Problem[S], s S) (n *normal, ok bool) {
	pieces := p.pieces()
	sums, possible := make([]*normalSum, len(pieces)), make([]bool, len(pieces))
	each(len(pieces), func(i int) {
		sums[i] = newNormalSum(p.Unknowns)
		possible[i] = pieces[i](s, sums[i].add)
	})
	for _, part := range sums[1:] { // in their order, so that rounding is always the same
		sums[0].join(part)
	}
	n = sums[0].normal()
	finite := !math.IsNaN(n.cost) && !math.IsInf(n.cost, 0)
	for i, g := range n.gradient {
		finite = finite && !math.IsNaN(g) && !math.IsInf(n.matrix.At(i, i), 0)
	}
	return n, finite && !slices.Contains(possible, false)
}

// normalSum adds up normal equations.
type normalSum struct {
	// matrix has, row by row, what belongs to two elements that mirror each other in either.
	matrix   []float64
	gradient []float64
	cost     float64
	rows     int
}

func newNormalSum(unknowns int) *normalSum {
	return &normalSum{matrix: make([]float64, unknowns*unknowns), gradient: make([]float64, unknowns)}
}

// add takes in one observation.
func (n *normalSum) add(r Row) {
	rho, weight := r.Loss.at(r.Residual)
	n.cost += rho / 2
	n.rows++
	if weight == 0 {
		return
	}
	size := len(n.gradient)
	for k, c := range r.Cols {
		d := weight * r.Derivs[k]
		n.gradient[c] += d * r.Residual
		row := n.matrix[c*size:][:size]
		for l, e := range r.Cols[:k+1] {
			row[e] += d * r.Derivs[l]
		}
	}
}

// join takes in what others were taken into.
func (n *normalSum) join(other *normalSum) {
	n.cost += other.cost
	n.rows += other.rows
	for i, v := range other.matrix {
		n.matrix[i] += v
	}
	for i, v := range other.gradient {
		n.gradient[i] += v
	}
}

// normal are the equations.
func (n *normalSum) normal() *normal {
	size := len(n.gradient)
	m := mat.NewSymDense(size, n.matrix) // which reads the upper triangle
	for i := range size {
		for j := i + 1; j < size; j++ {
			n.matrix[i*size+j] += n.matrix[j*size+i]
		}
	}
	return &normal{matrix: m, gradient: n.gradient, cost: n.cost, rows: n.rows}
}

// columnNorms of √W·J, none smaller than in before; 1 for an empty column.
func (n *normal) columnNorms(before []float64) []float64 {
	norms := make([]float64, len(n.gradient))
	for i := range norms {
		norms[i] = math.Sqrt(n.matrix.At(i, i))
		if before != nil {
			norms[i] = max(norms[i], before[i])
		}
		if norms[i] == 0 {
			norms[i] = 1
		}
	}
	return norms
}

// scaled is D⁻¹·JᵀWJ·D⁻¹ + damping·I.
func (n *normal) scaled(scale []float64, damping float64) *mat.SymDense {
	size := len(scale)
	m := mat.NewSymDense(size, nil)
	for i := range size {
		for j := i; j < size; j++ {
			m.SetSym(i, j, n.matrix.At(i, j)/(scale[i]*scale[j]))
		}
		m.SetSym(i, i, m.At(i, i)+damping)
	}
	return m
}

// step solves the damped normal equations and predicts by how much the cost falls.
func (n *normal) step(scale []float64, damping float64) (delta []float64, predicted float64, ok bool) {
	var factor mat.Cholesky
	if !factor.Factorize(n.scaled(scale, damping)) {
		return nil, 0, false
	}
	size := len(scale)
	right := mat.NewVecDense(size, nil)
	for i := range size {
		right.SetVec(i, -n.gradient[i]/scale[i])
	}
	var y mat.VecDense
	// The only error is a warning of bad condition, which the cost will judge.
	_ = factor.SolveVecTo(&y, right)
	delta = make([]float64, size)
	for i := range size {
		delta[i] = y.AtVec(i) / scale[i]
		// ½ yᵀ(damping·y + right), Madsen et al. equation 3.14.
		predicted += y.AtVec(i) * (damping*y.AtVec(i) + right.AtVec(i)) / 2
	}
	return delta, predicted, predicted > 0
}

// offset is how far the minimum of the linearised problem lies, in the unknowns'
// uncertainties: √(gᵀ(JᵀWJ)⁻¹g). A trace of damping keeps undetermined
// directions, along which g vanishes, out of it.
func (n *normal) offset(scale []float64) float64 {
	delta, _, ok := n.step(scale, 1e-15)
	if !ok {
		delta, _, ok = n.step(scale, 1e-12)
	}
	if !ok {
		return 0 // the gradient vanishes
	}
	var square float64
	for i, g := range n.gradient {
		square -= g * delta[i]
	}
	return math.Sqrt(max(square, 0))
}

// covariance is the inverse of the normal matrix.
func (n *normal) covariance() (c *mat.SymDense, condition float64, err error) {
	scale := n.columnNorms(nil)
	m := n.scaled(scale, 0)
	var factor mat.Cholesky
	if ok := factor.Factorize(m); !ok || factor.Cond() > maxCondition {
		return nil, 0, rankError(m)
	}
	c = mat.NewSymDense(len(scale), nil)
	if err := factor.InverseTo(c); err != nil {
		return nil, 0, rankError(m)
	}
	for i := range scale {
		for j := i; j < len(scale); j++ {
			c.SetSym(i, j, c.At(i, j)/(scale[i]*scale[j]))
		}
	}
	return c, factor.Cond(), nil
}

// rankError names the unknown that the weakest direction of m moves most.
func rankError(m *mat.SymDense) error {
	var eigen mat.EigenSym
	if !eigen.Factorize(m, true) {
		return &RankError{Condition: math.Inf(1)}
	}
	values := eigen.Values(nil) // ascending
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	e := &RankError{Condition: math.Inf(1)}
	if values[0] > 0 {
		e.Condition = values[len(values)-1] / values[0]
	}
	for i := range values {
		if math.Abs(vectors.At(i, 0)) > math.Abs(vectors.At(e.Unknown, 0)) {
			e.Unknown = i
		}
	}
	return e
}
