package vision

import (
	"math"

	"rimpair/calib"

	"gonum.org/v1/gonum/mat"
)

// This file places an inner corner of a sheet to a fraction of a pixel. Two
// edges cross there; with d1, d2 the distances of a pixel from them and s1, s2 the
// blur across them, the picture is modelled as
//
//	value = (a + b q + c q²) (1 + gx x + gy y),  q = erf(d1/√2 s1) erf(d2/√2 s2)
//
// b is half the contrast. c stands for the camera's tone curve and for white
// bleeding into black, which pull the four edges aside like the sails of a
// windmill; gx, gy for uneven light. All ten and the two edges' directions are
// fitted by least squares (Levenberg and Marquardt). The pattern looks the same
// when turned by half a turn about the corner, and so do blur, sharpening and tone
// curve: none of them biases the place.

// crossing is where two edges of a sheet meet in a picture, as expected.
type crossing struct {
	at calib.Point
	// axes holds the picture of the sheet's directions per mm, {du/dx, du/dy, dv/dx,
	// dv/dy}: edge 1 runs along the sheet's y, edge 2 along its x.
	axes [4]float64
	// brightFirst says that the quarter with positive x and y is white.
	brightFirst bool
	armMm       float64 // how far along the edges pixels are used
}

// crossingFit is a fitted crossing.
type crossingFit struct {
	at       calib.Point
	sigma    float64 // of either coordinate, px
	blur     float64 // standard deviation of the edges' blur, px
	contrast float64 // white less black, grey values; negative: the wrong way round
	misfit   float64 // residual RMS as a share of the contrast
	turn     float64 // by how much the edges turned from the expected directions, at most, rad
}

const (
	// gapMm is the white margin around a marker.
	gapMm = (calib.SquareMm - calib.MarkerMm) / 2
	// gapGuardPx is kept clear of the marker for its own blur.
	gapGuardPx = 1.5
	minPixels  = 30
	maxReachPx = 100.0
	// The fit's end: a step that moves the corner and lowers the squares by less.
	maxRounds    = 25
	maxDamping   = 1e6
	settledPx    = 1e-3
	settledShare = 1e-4
	// blurWeight, in grey values squared, draws the logarithms of the blur weakly
	// towards one pixel: a narrow window may show too little of an edge to tell.
	blurWeight = 4.0
	// minContrast is the least difference of black and white, in grey values.
	minContrast = 20.0
)

// Parameters of the fit.
const (
	pX = iota
	pY
	pAngle1
	pAngle2
	pBlur1 // logarithm of s1
	pBlur2
	pMean
	pHalf
	pTone
	pGradX
	pGradY
	numCrossing
)

type sample struct{ x, y, value float64 }

// window collects the pixels around a crossing that its model covers: a square of
// 2 armMm about it without the markers in its white quarters. Coordinates are
// relative to c.at.
func (g *Gray) window(c crossing) []sample {
	a := c.axes
	det := a[0]*a[3] - a[1]*a[2]
	reachX := c.armMm * (math.Abs(a[0]) + math.Abs(a[1]))
	reachY := c.armMm * (math.Abs(a[2]) + math.Abs(a[3]))
	if !(math.Abs(det) > 1e-9 && math.Max(reachX, reachY) < maxReachPx) {
		return nil // seen edge-on, or nowhere
	}
	x0, x1 := max(int(math.Ceil(c.at.X-reachX)), 0), min(int(c.at.X+reachX), g.Width-1)
	y0, y1 := max(int(math.Ceil(c.at.Y-reachY)), 0), min(int(c.at.Y+reachY), g.Height-1)
	// The distance of the marker's outline from the edges, less the guard.
	gapX := gapMm - gapGuardPx*math.Hypot(a[1], a[3])/math.Abs(det)
	gapY := gapMm - gapGuardPx*math.Hypot(a[0], a[2])/math.Abs(det)
	var s []sample
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			dx, dy := float64(x)-c.at.X, float64(y)-c.at.Y
			u := (a[3]*dx - a[1]*dy) / det
			v := (a[0]*dy - a[2]*dx) / det
			if math.Abs(u) > c.armMm || math.Abs(v) > c.armMm {
				continue
			}
			white := (u*v > 0) == c.brightFirst
			if white && math.Abs(u) > gapX && math.Abs(v) > gapY {
				continue
			}
			s = append(s, sample{dx, dy, float64(g.At(x, y))})
		}
	}
	return s
}

// fitCrossing fits the model around an expected crossing, whose place may be a few
// pixels off; ok is false when the fit does not settle.
func (g *Gray) fitCrossing(c crossing) (fit crossingFit, ok bool) {
	s := g.window(c)
	if len(s) < minPixels {
		return crossingFit{}, false
	}
	start := startCrossing(c, s)
	if math.Abs(start[pHalf]) < minContrast/4 {
		return crossingFit{}, false // flat, or the wrong way round: nothing to fit
	}
	p, eq, ok := settle(start, s)
	if !ok {
		return crossingFit{}, false
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(eq.normal) || chol.InverseTo(&inverse) != nil {
		return crossingFit{}, false
	}
	variance := eq.cost / float64(len(s)-numCrossing)
	return crossingFit{
		at:       calib.Point{X: c.at.X + p[pX], Y: c.at.Y + p[pY]},
		sigma:    math.Sqrt(variance * (inverse.At(pX, pX) + inverse.At(pY, pY)) / 2),
		blur:     math.Sqrt((math.Exp(2*p[pBlur1]) + math.Exp(2*p[pBlur2])) / 2),
		contrast: 2 * p[pHalf] * math.Copysign(1, start[pHalf]),
		misfit:   math.Sqrt(variance) / math.Abs(2*p[pHalf]),
		turn:     math.Max(math.Abs(p[pAngle1]-start[pAngle1]), math.Abs(p[pAngle2]-start[pAngle2])),
	}, true
}

// settle runs Levenberg and Marquardt's method from p to the least squares.
func settle(p [numCrossing]float64, s []sample) ([numCrossing]float64, equations, bool) {
	eq := crossingEquations(p, s)
	damping := 1e-3
	for range maxRounds {
		step, ok := eq.dampedStep(damping)
		if !ok {
			return p, eq, false
		}
		q := p
		for i := range q {
			q[i] += step.AtVec(i)
		}
		next := crossingEquations(q, s)
		if !(next.cost <= eq.cost) {
			if damping *= 10; damping > maxDamping {
				return p, eq, true // no step makes it better: this is the minimum
			}
			continue
		}
		moved, gain := math.Hypot(q[pX]-p[pX], q[pY]-p[pY]), eq.cost-next.cost
		p, eq = q, next
		if moved < settledPx && gain < settledShare*eq.cost {
			return p, eq, true
		}
		damping = math.Max(damping/10, 1e-9)
	}
	return p, eq, false
}

// startCrossing is the model at the expected place, with black and white as the
// quarters' means show them; pHalf is 0 when they are the wrong way round.
func startCrossing(c crossing, s []sample) [numCrossing]float64 {
	a := c.axes
	var p [numCrossing]float64
	// Edge 1 runs along the picture of the sheet's y; its normal points to positive x.
	p[pAngle1] = normalAngle(a[1], a[3], a[0], a[2])
	p[pAngle2] = normalAngle(a[0], a[2], a[1], a[3])
	p[pBlur1], p[pBlur2] = math.Log(1.5), math.Log(1.5)
	var sum [2]float64
	var n [2]int
	for _, q := range s {
		k := 0
		if (math.Cos(p[pAngle1])*q.x+math.Sin(p[pAngle1])*q.y)*(math.Cos(p[pAngle2])*q.x+math.Sin(p[pAngle2])*q.y) > 0 {
			k = 1
		}
		sum[k] += q.value
		n[k]++
	}
	same, opposite := sum[1]/math.Max(float64(n[1]), 1), sum[0]/math.Max(float64(n[0]), 1)
	p[pMean] = (same + opposite) / 2
	p[pHalf] = (same - opposite) / 2
	if (p[pHalf] > 0) != c.brightFirst {
		p[pHalf] = 0
	}
	return p
}

// normalAngle is the direction of the normal of (alongX, alongY) on the side of (towardX, towardY).
func normalAngle(alongX, alongY, towardX, towardY float64) float64 {
	nx, ny := -alongY, alongX
	if nx*towardX+ny*towardY < 0 {
		nx, ny = -nx, -ny
	}
	return math.Atan2(ny, nx)
}

// equations are the normal equations of a least-squares step, with the sum of squared
// residuals where they were set up.
type equations struct {
	normal *mat.SymDense
	right  *mat.VecDense
	cost   float64
}

func crossingEquations(p [numCrossing]float64, s []sample) equations {
	sin1, cos1 := math.Sincos(p[pAngle1])
	sin2, cos2 := math.Sincos(p[pAngle2])
	blur1, blur2 := math.Exp(p[pBlur1]), math.Exp(p[pBlur2])
	var a [numCrossing][numCrossing]float64
	var b, j [numCrossing]float64
	var cost float64
	for _, q := range s {
		dx, dy := q.x-p[pX], q.y-p[pY]
		d1, d2 := cos1*dx+sin1*dy, cos2*dx+sin2*dy
		e1, slope1 := blurredStep(d1, blur1)
		e2, slope2 := blurredStep(d2, blur2)
		e := e1 * e2
		even := p[pMean] + p[pHalf]*e + p[pTone]*e*e
		light := 1 + p[pGradX]*q.x + p[pGradY]*q.y
		r := q.value - even*light
		k := (p[pHalf] + 2*p[pTone]*e) * light
		k1, k2 := k*slope1*e2, k*slope2*e1
		j[pMean], j[pHalf], j[pTone] = light, e*light, e*e*light
		j[pGradX], j[pGradY] = even*q.x, even*q.y
		first := pMean // far from both edges nothing depends on where they are
		if k1 != 0 || k2 != 0 {
			first = 0
			j[pX] = -k1*cos1 - k2*cos2
			j[pY] = -k1*sin1 - k2*sin2
			j[pAngle1] = k1 * (cos1*dy - sin1*dx)
			j[pAngle2] = k2 * (cos2*dy - sin2*dx)
			j[pBlur1] = -k1 * d1
			j[pBlur2] = -k2 * d2
		}
		cost += r * r
		for m := first; m < numCrossing; m++ {
			b[m] += j[m] * r
			for n := m; n < numCrossing; n++ {
				a[m][n] += j[m] * j[n]
			}
		}
	}
	for _, m := range []int{pBlur1, pBlur2} {
		cost += blurWeight * p[m] * p[m]
		b[m] -= blurWeight * p[m]
		a[m][m] += blurWeight
	}
	eq := equations{normal: mat.NewSymDense(numCrossing, nil), right: mat.NewVecDense(numCrossing, b[:]), cost: cost}
	for m := range a {
		for n := m; n < numCrossing; n++ {
			eq.normal.SetSym(m, n, a[m][n])
		}
	}
	return eq
}

// farFromEdge is the distance from an edge, in units of its blur, beyond which erf is
// 1 to 6 digits.
const farFromEdge = 5.0

// blurredStep is the step from −1 to 1 at d = 0, blurred by a Gaussian, and its derivative.
func blurredStep(d, blur float64) (value, slope float64) {
	if math.Abs(d) > farFromEdge*blur {
		return math.Copysign(1, d), 0
	}
	perUnit := 1 / (math.Sqrt2 * blur)
	value, slope = erf(d * perUnit)
	return value, slope * perUnit
}

// erf is the error function, within 2e-8, and its derivative, within 3e-6, up to
// erfReach: between erfNodes by cubics that have its values and derivatives there
// (Hermite; the error is h⁴ max|erf⁗|/384, and of the derivative some h³ max|erf⁗|/72√3).
// math.Erf and math.Exp would take half of the time that corners take.
func erf(t float64) (value, slope float64) {
	at := math.Abs(t) * erfNodesPerUnit
	i := int(at)
	x, from, to := at-float64(i), &erfNodes[i], &erfNodes[i+1]
	rise := to.value - from.value
	square, cube := 3*rise-2*from.slope-to.slope, from.slope+to.slope-2*rise
	value = from.value + x*(from.slope+x*(square+x*cube))
	slope = from.slope + x*(2*square+3*x*cube)
	return math.Copysign(value, t), slope * erfNodesPerUnit
}

const (
	erfNodesPerUnit = 32
	erfReach        = 4 // farFromEdge/√2 and more
)

// erfNodes are the error function and its rise from node to node.
var erfNodes = func() (nodes [erfReach*erfNodesPerUnit + 1]struct{ value, slope float64 }) {
	for i := range nodes {
		t := float64(i) / erfNodesPerUnit
		nodes[i].value = math.Erf(t)
		nodes[i].slope = 2 / math.SqrtPi * math.Exp(-t*t) / erfNodesPerUnit
	}
	return nodes
}()

// dampedStep solves the equations with their diagonal enlarged.
func (eq equations) dampedStep(damping float64) (*mat.VecDense, bool) {
	damped := mat.NewSymDense(numCrossing, nil)
	damped.CopySym(eq.normal)
	for i := range numCrossing {
		damped.SetSym(i, i, eq.normal.At(i, i)*(1+damping)+1e-12)
	}
	var chol mat.Cholesky
	step := mat.NewVecDense(numCrossing, nil)
	if !chol.Factorize(damped) || chol.SolveVecTo(step, eq.right) != nil {
		return nil, false
	}
	return step, true
}
