package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// This file sets the standard uncertainty of edge points from their own residuals.

// scatter keeps what was learned of the edges of each photo, wheel and kind.
type scatter map[scatterKey]float64

type scatterKey struct {
	photo int
	side  Side
	kind  EdgeKind
}

func (o *edgeObservation) scatterKey() scatterKey { return scatterKey{o.photo, o.side, o.kind} }

// maxCorrelationLag is how many points along a curve are looked at for their
// residuals' correlation: 120 px, beyond which it is the shape of the model.
const maxCorrelationLag = 12

// learn estimates the standard uncertainty of the points of each photo, wheel and
// kind: their residuals' root mean square, times what their correlation along the
// curve takes from the number of independent points. With autocorrelation ρ_k the
// variance of a mean of many points is that of independent ones times 1 + 2 Σ ρ_k
// (Bartlett, J. R. Stat. Soc. Suppl. 8, 1946).
func (a *adjustment) learn(edgeResiduals []float64, photos float64) scatter {
	residuals := map[scatterKey][]float64{}
	met, worth := map[scatterKey]map[int]bool{}, scatter{} // arcs, plain points
	for i, r := range edgeResiduals {
		o := &a.edges[i]
		key := o.scatterKey()
		if math.Abs(r) > tukeyCut*o.sigma {
			r = math.NaN() // a gross error: its place is kept, its value does not count
		}
		residuals[key] = append(residuals[key], r/o.factor)
		if met[key] == nil {
			met[key] = map[int]bool{}
		}
		met[key][o.arc()] = true
		worth[key] += 1 / (o.factor * o.factor)
	}
	learned, soft := scatter{}, a.softness()
	for key, list := range residuals {
		perArc := worth[key] / float64(len(met[key]))
		sigma, ok := correlatedSigma(list)
		if !ok {
			sigma = fewPointsSigmaPx
		}
		learned[key] = max(sigma, math.Hypot(a.arcSigmaPx(key, photos), softShare*soft[key])*math.Sqrt(perArc))
	}
	return learned
}

// fewPointsSigmaPx is for curves too short for their own residuals to tell.
const fewPointsSigmaPx = 1.0

// arcs are the stretches of a curve, 60° each, over which errors hang together that
// residuals do not show since the wheel bends to them: light from above moves an
// edge differently at the bottom and at the ends, and a tyre is no exact torus.
const arcs = 6

// arc is the stretch that an edge lies on.
func (o *edgeObservation) arc() int {
	turns := o.u / (2 * math.Pi)
	return min(arcs-1, int(arcs*(turns-math.Floor(turns))))
}

// arcSigmaPx is how well the mean of one such stretch is known at best, when so many
// photos are adjusted together. In a single photo the lens's distortion bends to what
// moves an edge and turns the wheels along; further photos hold the lens. Of the stretches
// of 1,200 tyres' outlines in two and three photos, given and drawn, two in three lie
// within 0.04 px of the true outline, 95 % within 0.1 (given) to 0.2 px (drawn); of the rims'
// within 0.07 (drawn) to 0.15 px and 0.2 to 0.55 px, their circle's common shift taken off.
// Of an outline that a mudguard covers, what is left is as doubtful as a rim's edge, and so is
// one on grainy ground.
func (a *adjustment) arcSigmaPx(key scatterKey, photos float64) float64 {
	switch {
	case key.kind == RimCircle:
		return max(0.15, 0.3/photos)
	case a.covered[key.side], a.grainy:
		return 0.3 / photos
	}
	return max(0.08, 0.25/(photos*photos))
}

// reserve is how many times as large as their errors the σ are by which corners and edges are
// weighted: they have floors that hold for the worst of stretches, which no residual shows. The
// errors of corners, outlines and rims' edges moved total toe by 0.36, 0.40 and 0.47 times what
// their σ say in 60 drawn sets, by 0.52, 0.50 and 0.56 times in 7 given ones (front and rear
// alone by up to 0.71), by 0.14 to 0.60 times in 170 drawn single photos (see error_test.go).
// Weights without it made toe no better.
const reserve = 1.5

// reserveOf an edge. What a mudguard leaves of an outline was off by 0.83 times its σ (20 sets),
// and in a single photo a mudguard may pass for the tyre itself (11 drawn: by 1.8 times all that
// was stated without this).
func (a *adjustment) reserveOf(s *Scene, o *edgeObservation) float64 {
	if len(s.Photos) == 1 || a.grainy || o.kind != RimCircle && a.covered[o.side] {
		return 1
	}
	return reserve
}

// softShare is how much of a rim's softness its place may be off by, over a stretch.
const softShare = 0.6

// softness is what the rims' edges are blurred by, in px, beyond their photo's sharp edges,
// as the tyres' outlines are. A lip is round and turns from light to dark over some pixels
// where light falls along it, and so does a tyre into the crease beside the lip: there the
// light says where the edge seems to be, and the tyre as much as the rim.
func (a *adjustment) softness() scatter {
	widths, sharp := a.widths(), map[int][]float64{}
	for key, list := range widths {
		if key.kind != RimCircle {
			sharp[key.photo] = append(sharp[key.photo], list...)
		}
	}
	soft := scatter{}
	for key, list := range widths {
		if blur := sharp[key.photo]; key.kind == RimCircle && len(blur) > 0 {
			w, b := median(list), median(blur)
			soft[key] = math.Sqrt(max(0, w*w-b*b))
		}
	}
	return soft
}

// widths are those of the edges of each photo, wheel and kind.
func (a *adjustment) widths() map[scatterKey][]float64 {
	widths := map[scatterKey][]float64{}
	for i := range a.edges {
		key := a.edges[i].scatterKey()
		widths[key] = append(widths[key], a.edges[i].edge.Width)
	}
	return widths
}

func median(list []float64) float64 {
	slices.Sort(list)
	return stat.Quantile(0.5, stat.Empirical, list, nil)
}

func correlatedSigma(residuals []float64) (sigma float64, ok bool) {
	covariance := func(lag int) (c float64, n int) {
		for i := lag; i < len(residuals); i++ {
			if p := residuals[i] * residuals[i-lag]; !math.IsNaN(p) {
				c += p
				n++
			}
		}
		return c / float64(max(n, 1)), n
	}
	variance, n := covariance(0)
	if n < 2*maxCorrelationLag || variance == 0 {
		return 0, false
	}
	inflation := 1.0
	for lag := 1; lag <= maxCorrelationLag; lag++ {
		c, _ := covariance(lag)
		if c <= 0 {
			break // beyond the first zero the estimate is noise
		}
		inflation += 2 * c / variance
	}
	return math.Sqrt(variance * inflation), true
}

// edgeResiduals are the distances in px of the edge points from their curves.
func (a *adjustment) edgeResiduals(s *Scene) []float64 {
	residuals := make([]float64, len(a.edges))
	var c locus
	for i := range a.edges {
		o := &a.edges[i]
		if i == 0 || !sameCurve(o, &a.edges[i-1]) {
			c = newLocus(s.wheel(o.photo, o.side), o.kind, o.face, s.view(o.photo))
		}
		ip, ok := c.nearest(o.at, o.u)
		residuals[i] = s.edgeDistance(o, &ip)
		if !ok {
			residuals[i] = math.Inf(1)
		}
	}
	return residuals
}

// strayNeighbours is how many points to either side of one along a curve are
// looked at together.
const strayNeighbours = 4

// dropStrays leaves out stretches whose points lie off together: a stripe beside
// the outline, a mudguard's rim, a cable, the edge of a shadow. One by one such
// points look fair; their median does not.
func (a *adjustment) dropStrays(s *Scene, limit float64) {
	residuals := a.edgeResiduals(s)
	kept := a.edges[:0:0]
	for first := 0; first < len(a.edges); {
		end := first + 1
		for end < len(a.edges) && sameCurve(&a.edges[first], &a.edges[end]) {
			end++
		}
		for i := first; i < end; i++ {
			near := slices.Clone(residuals[max(first, i-strayNeighbours):min(end, i+strayNeighbours+1)])
			slices.Sort(near)
			if math.Abs(near[len(near)/2]) <= limit*a.roughness(a.edges[i].kind) {
				kept = append(kept, a.edges[i])
			}
		}
		first = end
	}
	a.edges = kept
}

// grainRoughness is how many times as far edges on grainy ground, where a dark or a light grain
// lies beside the tyre, may be from its outline as others.
const grainRoughness = 2.0

// roughness is that of the edges of a kind.
func (a *adjustment) roughness(kind EdgeKind) float64 {
	if a.grainy && kind == TyreOuter {
		return grainRoughness
	}
	return 1
}
