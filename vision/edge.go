package vision

import (
	"math"

	"rimpair/calib"
)

// This file finds edges along given lines across a picture, to a fraction of a
// pixel and in linear light: a camera's tone curve is steep in the dark, so that
// in the picture's own values the edge of a dark body seems to lie inside it, by
// up to half a pixel. The inverse sRGB curve (IEC 61966-2-1) takes most of that
// away; no more is known of a phone's curve.

// Probe is a line across an expected edge: from At, along the unit vector
// (NX, NY), HalfWidth pixels to either side.
type Probe struct {
	At        calib.Point
	NX, NY    float64
	HalfWidth float64
}

// Edge is a change of brightness along a probe.
type Edge struct {
	Offset float64 // pixels from Probe.At along the normal
	// Step is the brightness in linear light just beyond the edge less that just
	// before it, as a share of their sum: −1 to 1, positive when it gets brighter.
	Step float64
}

const (
	// sampleStep is the distance of samples along a probe in pixels.
	sampleStep = 0.5
	// gradientSigma is the width in pixels of the smoothing that the derivative is
	// taken with: about the blur of a phone's lens and sharpening, the matched
	// filter for a step (Canny, "A computational approach to edge detection", IEEE
	// TPAMI 8, 1986).
	gradientSigma = 1.0
	// stepReach is how far from the edge the two brightnesses are compared, in pixels.
	stepReach = 3.0
	// bandHalfWidth is how many pixels along the edge one probe averages to either
	// side, which tames noise without rounding a curve of 100 px radius and more.
	bandHalfWidth = 2
	// minStep keeps noise from being taken for edges.
	minStep = 0.03
)

// Linear is the brightness at (x, y) between pixels, in linear light from 0 to
// 1, by bilinear interpolation; ok is false outside the picture.
func (g *Gray) Linear(x, y float64) (v float64, ok bool) {
	if !(x >= 0 && y >= 0 && x < float64(g.Width-1) && y < float64(g.Height-1)) {
		return 0, false
	}
	x0, y0 := int(x), int(y)
	fx, fy := x-float64(x0), y-float64(y0)
	i := y0*g.Width + x0
	top := linearLight[g.Pix[i]]*(1-fx) + linearLight[g.Pix[i+1]]*fx
	bottom := linearLight[g.Pix[i+g.Width]]*(1-fx) + linearLight[g.Pix[i+g.Width+1]]*fx
	return top*(1-fy) + bottom*fy, true
}

// linearLight inverts the sRGB curve.
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

// Profile samples a probe every sampleStep from −HalfWidth to +HalfWidth, each
// sample the mean over a short band along the edge. It is nil when the probe
// leaves the picture.
func (g *Gray) profile(p Probe) []float64 {
	n := int(math.Ceil(p.HalfWidth / sampleStep))
	profile := make([]float64, 2*n+1)
	for i := range profile {
		s := float64(i-n) * sampleStep
		sum := 0.0
		for b := -bandHalfWidth; b <= bandHalfWidth; b++ {
			v, ok := g.Linear(p.At.X+s*p.NX-float64(b)*p.NY, p.At.Y+s*p.NY+float64(b)*p.NX)
			if !ok {
				return nil
			}
			sum += v
		}
		profile[i] = sum / (2*bandHalfWidth + 1)
	}
	return profile
}

// Edges returns the edges that cross a probe, in the order of their offsets.
func (g *Gray) Edges(p Probe) []Edge {
	margin := stepReach + 2*gradientSigma
	wide := p
	wide.HalfWidth += margin
	profile := g.profile(wide)
	if profile == nil {
		return nil
	}
	slope := smoothedSlope(profile)
	reach := int(math.Round(stepReach / sampleStep))
	centre := len(profile) / 2
	first := int(math.Round(margin / sampleStep))
	var edges []Edge
	for i := first; i < len(profile)-first; i++ {
		here := math.Abs(slope[i])
		if here <= math.Abs(slope[i-1]) || here < math.Abs(slope[i+1]) {
			continue
		}
		before, beyond := profile[i-reach], profile[i+reach]
		step := (beyond - before) / (beyond + before + 1e-3)
		if math.Abs(step) < minStep || step*slope[i] < 0 {
			continue
		}
		offset := float64(i-centre) + parabolaPeak(slope[i-1], slope[i], slope[i+1])
		edges = append(edges, Edge{Offset: offset * sampleStep, Step: step})
	}
	return edges
}

// smoothedSlope is the derivative of a Gaussian-smoothed profile.
func smoothedSlope(profile []float64) []float64 {
	sigma := gradientSigma / sampleStep
	radius := int(3 * sigma)
	slope := make([]float64, len(profile))
	for i := radius; i < len(profile)-radius; i++ {
		sum := 0.0
		for k := 1; k <= radius; k++ {
			weight := float64(k) * math.Exp(-float64(k*k)/(2*sigma*sigma))
			sum += weight * (profile[i+k] - profile[i-k])
		}
		slope[i] = sum
	}
	return slope
}

// parabolaPeak is where the parabola through (−1, a), (0, b), (1, c) turns.
func parabolaPeak(a, b, c float64) float64 {
	bend := a - 2*b + c
	if bend == 0 {
		return 0
	}
	return 0.5 * (a - c) / bend
}
