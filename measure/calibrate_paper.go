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

// bumpPriors are those of a sheet's corners, whose columns are given.
func (c *calibration) bumpPriors(sheet int, columns [][3]int) []prior {
	var corners []r3.Vec
	for i := range columns {
		corners = append(corners, c.scene.Sheets[sheet].cornerMm(i))
	}
	var list []prior
	means := make([]float64, len(corners))
	for axis := range 3 {
		along := make([]int, len(columns))
		for i := range along {
			along[i] = columns[i][axis]
		}
		list = append(list, correlatedPriors(sourceFlatness, along, whitening(paperCovariance(corners, axis)), means, c.factors[sourceFlatness],
			func(s *Scene, k int) float64 {
				b := &s.Sheets[sheet].Bumps[k]
				return [...]float64{b.X, b.Y, b.Z}[axis]
			})...)
	}
	return list
}
