package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// This file says what is known beforehand of how a print differs from its layout,
// beyond its two scales and its bend. Close up a phone sees hundredths of a
// millimetre: printers feed paper unevenly and a little askew, and paper lies in
// waves. Neighbouring corners are off by about the same, so that one cannot count
// each as a chance of its own: the offsets are a Gaussian process over the paper with
// the covariance
//
//	σ² exp(−d²/2ℓ²), and σ₀² more where d = 0
//
// (Rasmussen and Williams, "Gaussian Processes for Machine Learning", 2006, section
// 4.2.1, from memory). Its sizes are common practice, without a source; the adjustment
// enlarges them where the photos show more.

// Sizes along the paper's x and y, and upright, in mm.
var (
	smoothSigmasMm  = [3]float64{0.05, 0.05, 0.15}
	smoothLengthsMm = [3]float64{100, 100, 60}
	roughSigmasMm   = [3]float64{0.02, 0.02, 0.03}
)

// paperCovariance is that of the corners' offsets along one axis.
func paperCovariance(corners []r3.Vec, axis int) *mat.SymDense {
	covariance := mat.NewSymDense(len(corners), nil)
	square := func(v float64) float64 { return v * v }
	for i, p := range corners {
		for j, q := range corners[:i+1] {
			v := square(smoothSigmasMm[axis]) * math.Exp(-r3.Norm2(r3.Sub(p, q))/(2*square(smoothLengthsMm[axis])))
			if i == j {
				v += square(roughSigmasMm[axis])
			}
			covariance.SetSym(i, j, v)
		}
	}
	return covariance
}

// whitening is the inverse W of the Cholesky factor of a covariance: W times what has
// that covariance has a standard uncertainty of 1 in every row, and no correlation.
func whitening(covariance mat.Symmetric) *mat.TriDense {
	var factor mat.Cholesky
	if !factor.Factorize(covariance) {
		panic("measure: a covariance that is not positive definite")
	}
	var lower, inverse mat.TriDense
	factor.LTo(&lower)
	if err := inverse.InverseTri(&lower); err != nil {
		panic(err) // cannot be: the factor's diagonal is positive
	}
	return &inverse
}

// bumpPriors are those of a sheet's corners, whose columns are given.
func (c *calibration) bumpPriors(sheet int, columns [][3]int) []prior {
	if len(columns) == 0 || columns[0][0] == fixed {
		return nil
	}
	var corners []r3.Vec
	for i := range columns {
		corners = append(corners, c.scene.Sheets[sheet].cornerMm(i))
	}
	var list []prior
	for axis := range 3 {
		white := whitening(paperCovariance(corners, axis))
		for i := range corners {
			p := prior{source: sourceFlatness, sigma: c.factors[sourceFlatness]}
			for k := range i + 1 {
				p.columns, p.derivs = append(p.columns, columns[k][axis]), append(p.derivs, white.At(i, k))
			}
			p.value = func(s *Scene) float64 {
				sum := 0.0
				for k, w := range p.derivs {
					b := s.Sheets[sheet].Bumps[k]
					sum += w * [...]float64{b.X, b.Y, b.Z}[axis]
				}
				return sum
			}
			list = append(list, p)
		}
	}
	return list
}
