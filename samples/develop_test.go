package samples

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// sRGB at the values that IEC 61966-2-1 implies (from memory): 0.0031308 is the joint
// of its two branches, and mid grey 0.2140 is half the range.
func TestSRGB(t *testing.T) {
	assert.InDelta(t, 0, sRGB(0), 0)
	assert.InDelta(t, 0.04045, sRGB(0.0031308), 1e-5)
	assert.InDelta(t, 0.5, sRGB(0.21404), 1e-5)
	assert.InDelta(t, 1, sRGB(1), 1e-12)
	curve := newToneCurve(0.7)
	for _, v := range []float64{0.001, 0.0123, 0.2, 0.55} {
		assert.InDelta(t, 255*sRGB(v), float64(curve.at(float32(v))), 0.05)
	}
	assert.Less(t, curve.at(1.5), float32(255))
	assert.Greater(t, curve.at(1.5), curve.at(1))
}

// Blur and shake keep the light and its centre, and have the width they are given.
func TestBlurAndShake(t *testing.T) {
	const size, at = 41, 20
	moments := func(p []float32) (sum, x, y, xx, yy float64) {
		for i, v := range p {
			dx, dy := float64(i%size-at), float64(i/size-at)
			sum, x, y = sum+float64(v), x+float64(v)*dx, y+float64(v)*dy
			xx, yy = xx+float64(v)*dx*dx, yy+float64(v)*dy*dy
		}
		return
	}
	point := func() []float32 {
		p := make([]float32, size*size)
		p[at*size+at] = 1
		return p
	}
	p := point()
	blur(p, make([]float32, size*size), size, size, 0.8)
	sum, x, y, xx, yy := moments(p)
	assert.InDelta(t, 1, sum, 1e-5)
	assert.InDelta(t, 0, math.Hypot(x, y), 1e-5)
	assert.InDelta(t, 0.64, xx, 0.01) // sampled and cut off at 3.75 σ
	assert.InDelta(t, 0.64, yy, 0.01)

	p = point()
	out := make([]float32, size*size)
	shake(p, out, size, size, 1.5, 0)
	sum, x, y, xx, yy = moments(out)
	assert.InDelta(t, 1, sum, 1e-5)
	assert.InDelta(t, 0, math.Hypot(x, y), 1e-5)
	assert.InDelta(t, 0, yy, 1e-6)
	// A line's variance is length²/12; spread over whole pixels it gains up to 1/4.
	assert.Greater(t, xx, 1.5*1.5/12)
	assert.Less(t, xx, 1.5*1.5/12+0.25)
}

// An even grey keeps its level under noise, and the noise has the size that is asked.
func TestNoise(t *testing.T) {
	const light = 0.3
	p := newLightPicture(256, 256)
	for i := range p.channel[0] {
		p.set(i, grey(light))
	}
	d := Develop{BlurPx: 0.6, ISO: 2, Knee: 0.7}
	picture := d.apply(p, 5, 0)
	var sum, squares float64
	for _, v := range picture.Y {
		sum, squares = sum+float64(v), squares+float64(v)*float64(v)
	}
	n := float64(len(picture.Y))
	mean := sum / n
	assert.InDelta(t, 255*sRGB(light), mean, 0.1)
	slope := 255 * (sRGB(light+1e-4) - sRGB(light-1e-4)) / 2e-4
	sigma := slope * math.Sqrt(2*(photonVariance*light+2*readSigma*readSigma))
	// Luminance mixes the channels' own parts; rounding adds 1/12.
	own := colourShare * math.Sqrt(0.299*0.299+0.587*0.587+0.114*0.114)
	want := math.Sqrt(sigma*sigma*((1-colourShare)*(1-colourShare)+own*own) + 1./12)
	assert.InDelta(t, want, math.Sqrt(squares/n-mean*mean), 0.05*want)
}
