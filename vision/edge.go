package vision

import (
	"cmp"
	"math"
	"slices"

	"rimpair/calib"
)

// This file finds edges along given lines across a picture, to a fraction of a
// pixel and in linear light: a camera's tone curve is steep in the dark, so that in
// the picture's own values the edge of a dark body seems to lie inside it, by up to
// a pixel. The inverse sRGB curve takes most of that away; no more is known of a phone's curve.

// Probe is a line across an expected edge: from At, along the unit vector
// (NX, NY), HalfWidth pixels to either side.
type Probe struct {
	At        calib.Point
	NX, NY    float64
	HalfWidth float64
	// Curvature of the edge in 1/px, positive when it bends toward (NX, NY).
	Curvature float64
	// HalfLength is how many pixels along the edge are averaged to either side; 0: 5. Probes
	// 10 px apart then use every pixel once.
	HalfLength int
	// Grain is how many standard deviations of the brightness along the edge are added to its
	// mean. A floor of grains darker and lighter than a smooth body may be as light as that on
	// average; its light grains are not. Mean and deviation grow alike with what is seen of the
	// floor, so that the edge stays in its place.
	Grain float64
}

// Edge is a change of brightness along a probe.
type Edge struct {
	Offset float64 // pixels from Probe.At along the normal
	// Step is the brightness in linear light just beyond the edge less that just
	// before it, as a share of their sum: −1 to 1, positive when it gets brighter.
	Step float64
	// Clear is how far the nearest other edge of comparable slope lies, in pixels. A
	// near one pulls this edge's offset toward itself or away.
	Clear float64
	// Width is the standard deviation of the blur, the search's own smoothing included,
	// that would make a sharp edge of this height as steep, in pixels. A photo's sharp
	// edges have the same; what shades off over some pixels has more.
	Width float64
	// Reversal is the step of the strongest edge within a few pixels beyond that takes the
	// brightness back: what is large of a thin line's near edge.
	Reversal float64
	// Beside are the nearest edges of comparable slope before and beyond, zero where there is none
	// on the probe; see Alone.
	Beside [2]Neighbour
}

// Neighbour is an edge beside another one.
type Neighbour struct {
	Offset float64 // pixels from that one's
	Slope  float64 // as a share of that one's
}

const (
	// sampleStep is the distance of samples along a probe in pixels.
	sampleStep = 0.5
	// gradientSigma is the width in pixels of the smoothing that the derivative is
	// taken with: about the blur of a phone's lens and sharpening, the matched
	// filter for a step (Canny, "A computational approach to edge detection", IEEE
	// TPAMI 8, 1986).
	gradientSigma = 1.0
	// stepReach is how far to either side of an edge the brightnesses are compared, in pixels.
	stepReach = 3.0
	// usualHalfLength is a Probe's where it has none.
	usualHalfLength = 5
	// comparable is the share of an edge's slope from which another edge disturbs it.
	comparable = 0.3
	// reversalReach is how far beyond an edge one back is looked for, in pixels.
	reversalReach = 4.0
	// minStep keeps noise from being taken for edges.
	minStep = 0.03
)

// linearLight inverts the sRGB curve (IEC 61966-2-1).
var linearLight = func() (t [256]float64) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			t[i] = v / 12.92
		} else {
			t[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return t
}()

// profile samples a probe every sampleStep from −HalfWidth to +HalfWidth, each
// sample the mean over a short band along the edge. It is nil when the probe
// leaves the picture.
func (g *Gray) profile(p Probe) []float64 {
	n := int(math.Ceil(p.HalfWidth / sampleStep))
	band := p.band()
	along := float64(len(band) / 2)
	across := float64(n)*sampleStep + math.Abs(p.Curvature)*along*along/2
	reachX := across*math.Abs(p.NX) + along*math.Abs(p.NY)
	reachY := across*math.Abs(p.NY) + along*math.Abs(p.NX)
	if !(p.At.X >= reachX && p.At.Y >= reachY && p.At.X+reachX < float64(g.Width-1) && p.At.Y+reachY < float64(g.Height-1)) {
		return nil
	}
	profile := make([]float64, 2*n+1)
	for i := range profile {
		s := float64(i-n) * sampleStep
		profile[i] = g.grainyMean(p.Beside(s), band, p.Grain)
	}
	return profile
}

// Beside is the place so many pixels from At along the normal.
func (p *Probe) Beside(offset float64) calib.Point {
	return calib.Point{X: p.At.X + offset*p.NX, Y: p.At.Y + offset*p.NY}
}

// band is a short stretch along the edge, from its middle.
func (p *Probe) band() []calib.Point {
	half := cmp.Or(p.HalfLength, usualHalfLength)
	band := make([]calib.Point, 2*half+1)
	for i := range band {
		along := float64(i - half)
		across := p.Curvature * along * along / 2
		band[i] = calib.Point{X: across*p.NX - along*p.NY, Y: across*p.NY + along*p.NX}
	}
	return band
}

// holds says whether the picture has a band about a place.
func (g *Gray) holds(at calib.Point, band []calib.Point) bool {
	for _, d := range [2]calib.Point{band[0], band[len(band)-1]} {
		if x, y := at.X+d.X, at.Y+d.Y; !(x >= 1 && y >= 1 && x < float64(g.Width-2) && y < float64(g.Height-2)) {
			return false
		}
	}
	return true
}

// linearMean is the mean brightness of places inside the picture, in linear light from
// 0 to 1, between pixels by bilinear interpolation; from says where they lie about at.
func (g *Gray) linearMean(at calib.Point, from []calib.Point) float64 {
	sum := 0.0
	for _, d := range from {
		x, y := at.X+d.X, at.Y+d.Y
		x0, y0 := int(x), int(y)
		fx, fy := x-float64(x0), y-float64(y0)
		i := y0*g.Width + x0
		upper, lower := g.Pix[i:i+2], g.Pix[i+g.Width:i+g.Width+2]
		a, b := linearLight[upper[0]], linearLight[lower[0]]
		a += (linearLight[upper[1]] - a) * fx
		b += (linearLight[lower[1]] - b) * fx
		sum += a + (b-a)*fy
	}
	return sum / float64(len(from))
}

// grainyMean is linearMean and so many standard deviations of the places.
func (g *Gray) grainyMean(at calib.Point, from []calib.Point, grain float64) float64 {
	mean := g.linearMean(at, from)
	if grain == 0 {
		return mean
	}
	return mean + grain*g.deviation(at, from, mean)
}

// deviation is the standard deviation of the brightness of places from their mean, as of linearMean.
func (g *Gray) deviation(at calib.Point, from []calib.Point, mean float64) float64 {
	variance := 0.0
	for i := range from {
		d := g.linearMean(at, from[i:i+1]) - mean
		variance += d * d / float64(len(from))
	}
	return math.Sqrt(variance)
}

// GrainBeside is the standard deviation of the brightness along a probe's edge, so many pixels
// from it, as a share of its mean. ok is false outside the picture.
func (g *Gray) GrainBeside(p *Probe, offset float64) (grain float64, ok bool) {
	at, band := p.Beside(offset), p.band()
	if !g.holds(at, band) {
		return 0, false
	}
	mean := g.linearMean(at, band)
	return g.deviation(at, band, mean) / (mean + 1e-3), true
}

// Edges returns the edges that cross a probe, in the order of their offsets.
func (g *Gray) Edges(p Probe) []Edge {
	margin := stepReach + 3*gradientSigma
	wide := p
	wide.HalfWidth += margin
	profile := g.profile(wide)
	if profile == nil {
		return nil
	}
	slope := smoothedSlope(profile)
	reach := int(math.Round(stepReach / sampleStep))
	centre := float64(len(profile) / 2)
	var edges []Edge
	peaks := steepest(slope)
	for k, i := range peaks {
		offset := (float64(i) - centre + summit(slope, i)) * sampleStep
		if i < reach || i+reach >= len(profile) {
			continue
		}
		stretch := profile[i-reach : i+reach+1]
		step := stepAt(stretch, slope[i] > 0)
		if math.Abs(step) < minStep {
			continue
		}
		e := Edge{Offset: offset, Step: step, Clear: math.Inf(1), Width: width(stretch, slope[i])}
		for side, j := range neighbours(slope, peaks, k) {
			if j >= 0 {
				e.Clear = min(e.Clear, sampleStep*math.Abs(float64(j-i)))
				e.Beside[side] = Neighbour{Offset: (float64(j)-centre+summit(slope, j))*sampleStep - offset, Slope: slope[j] / slope[i]}
			}
		}
		edges = append(edges, e)
	}
	reversals(edges)
	return slices.DeleteFunc(edges, func(e Edge) bool { return math.Abs(e.Offset) > p.HalfWidth })
}

// reversals finds for each edge, in order, the strongest one beyond that takes it back.
func reversals(edges []Edge) {
	for i := range edges {
		e := &edges[i]
		for _, next := range edges[i+1:] {
			if next.Offset > e.Offset+reversalReach {
				break
			}
			if next.Step*e.Step < 0 {
				e.Reversal = max(e.Reversal, math.Abs(next.Step))
			}
		}
	}
}

// stepAt compares the extremes to either side of the middle of a stretch: a thin
// line beside an edge must not hide it.
func stepAt(stretch []float64, rising bool) float64 {
	middle := len(stretch) / 2
	before, beyond := stretch[:middle+1], stretch[middle:]
	var a, b float64
	if rising {
		a, b = slices.Min(before), slices.Max(beyond)
	} else {
		a, b = slices.Max(before), slices.Min(beyond)
	}
	return (b - a) / (b + a + 1e-3)
}

// width is how blurred a sharp edge would be that changes as much within a stretch and has
// this slope in its middle: a Gaussian's density there is 1/(σ√2π).
func width(stretch []float64, slope float64) float64 {
	return (slices.Max(stretch) - slices.Min(stretch)) * slopeOfRamp / math.Abs(slope) / math.Sqrt(2*math.Pi)
}

// steepest returns where the slope's size has a local maximum.
func steepest(slope []float64) []int {
	var at []int
	for i := 1; i+1 < len(slope); i++ {
		here := math.Abs(slope[i])
		if here > math.Abs(slope[i-1]) && here >= math.Abs(slope[i+1]) {
			at = append(at, i)
		}
	}
	return at
}

// neighbours are the nearest peaks before and beyond peak k that are comparable; −1 where there is none.
func neighbours(slope []float64, peaks []int, k int) [2]int {
	nearest := [2]int{-1, -1}
	for side, along := range [2]int{-1, 1} {
		for other := k + along; other >= 0 && other < len(peaks); other += along {
			if math.Abs(slope[peaks[other]]) >= comparable*math.Abs(slope[peaks[k]]) {
				nearest[side] = peaks[other]
				break
			}
		}
	}
	return nearest
}

// smoothedSlope is the derivative of a Gaussian-smoothed profile.
func smoothedSlope(profile []float64) []float64 {
	slope := make([]float64, len(profile))
	for i := len(slopeWeights); i < len(profile)-len(slopeWeights); i++ {
		sum := 0.0
		for k, weight := range slopeWeights {
			sum += weight * (profile[i+k+1] - profile[i-k-1])
		}
		slope[i] = sum
	}
	return slope
}

// slopeWeights are those of a Gaussian's derivative at 1, 2, … samples, to three of its widths.
var slopeWeights = func() (w [3 * gradientSigma / sampleStep]float64) {
	for i := range w {
		k, sigma := float64(i+1), gradientSigma/sampleStep
		w[i] = k * math.Exp(-k*k/(2*sigma*sigma))
	}
	return w
}()

// slopeOfRamp is the smoothed slope where the profile grows by 1 a pixel.
var slopeOfRamp = func() (sum float64) {
	for i, weight := range slopeWeights {
		sum += weight * 2 * float64(i+1) * sampleStep
	}
	return sum
}()

// summit is how far from peak i the parabola through it and the samples beside it is steepest.
func summit(slope []float64, i int) float64 { return parabolaPeak(slope[i-1], slope[i], slope[i+1]) }

// parabolaPeak is where the parabola through (−1, a), (0, b), (1, c) turns.
func parabolaPeak(a, b, c float64) float64 {
	bend := a - 2*b + c
	if bend == 0 {
		return 0
	}
	return 0.5 * (a - c) / bend
}
