package samples

import (
	"image"
	"math"
	"math/rand/v2"
)

// Develop is what a lens and a phone do to the light of a scene.
type Develop struct {
	BlurPx    float64 // standard deviation of the lens's Gaussian blur
	MotionPx  float64 // length of the hand's shake during the exposure
	MotionDeg float64 // its direction in the picture
	ISO       float64 // noise against that of a well lit photo
	Knee      float64 // linear light where the highlights begin to be pressed
	Sharpen   float64 // strength of the unsharp mask
	Quality   int     // JPEG quality
}

func newDevelop(g *rand.Rand) Develop {
	d := Develop{
		BlurPx:    uniform(g, 0.6, 0.9),
		MotionDeg: uniform(g, 0, 180),
		ISO:       uniform(g, 0.6, 2.2),
		Knee:      uniform(g, 0.55, 0.75),
		Sharpen:   uniform(g, 0.15, 0.45),
		Quality:   80 + g.IntN(13),
	}
	if shake := uniform(g, -0.8, 1.4); shake > 0 {
		d.MotionPx = shake
	}
	return d
}

// lightPicture is a picture in linear light: 1 is where a sensor clips.
type lightPicture struct {
	width, height int
	channel       [3][]float32
}

func newLightPicture(width, height int) *lightPicture {
	p := &lightPicture{width: width, height: height}
	for c := range p.channel {
		p.channel[c] = make([]float32, width*height)
	}
	return p
}

// apply turns light into the picture that the phone stores. It uses up the light.
func (d Develop) apply(p *lightPicture, seed, photo uint64) *image.YCbCr {
	scratch := make([]float32, p.width*p.height)
	for c := range p.channel {
		blur(p.channel[c], scratch, p.width, p.height, d.BlurPx)
		if d.MotionPx > 0 {
			shake(p.channel[c], scratch, p.width, p.height, d.MotionPx, radians(d.MotionDeg))
			p.channel[c], scratch = scratch, p.channel[c]
		}
	}
	d.expose(p, seed, photo)
	return d.store(p, scratch)
}

// blur smooths in place with a separable Gaussian.
func blur(plane, scratch []float32, width, height int, sigma float64) {
	reach := int(math.Ceil(3.5 * sigma))
	kernel := make([]float32, reach+1)
	sum := 0.0
	for i := range kernel {
		k := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		kernel[i] = float32(k)
		if sum += k; i > 0 {
			sum += k
		}
	}
	for i := range kernel {
		kernel[i] /= float32(sum)
	}
	parallel(height, func(y int) {
		in, out := plane[y*width:(y+1)*width], scratch[y*width:(y+1)*width]
		for x := range out {
			s := kernel[0] * in[x]
			if x >= reach && x+reach < width {
				for i := 1; i <= reach; i++ {
					s += kernel[i] * (in[x-i] + in[x+i])
				}
			} else {
				for i := 1; i <= reach; i++ {
					s += kernel[i] * (in[max(x-i, 0)] + in[min(x+i, width-1)])
				}
			}
			out[x] = s
		}
	})
	row := func(y int) []float32 {
		y = min(max(y, 0), height-1)
		return scratch[y*width : (y+1)*width]
	}
	parallel(height, func(y int) {
		out := plane[y*width : (y+1)*width]
		for x, v := range row(y) {
			out[x] = kernel[0] * v
		}
		for i := 1; i <= reach; i++ {
			above, below, k := row(y-i), row(y+i), kernel[i]
			for x := range out {
				out[x] += k * (above[x] + below[x])
			}
		}
	})
}

// shake smears along a short line, from one plane into another. The line reaches at
// most one pixel to each side, so that nine taps hold it.
func shake(in, out []float32, width, height int, length, angleRad float64) {
	const points = 64
	var tap [3][3]float32
	sin, cos := math.Sincos(angleRad)
	length = min(length, 2)
	for i := range points {
		s := length * ((float64(i)+0.5)/points - 0.5)
		x, y := s*cos, s*sin
		fx, fy := math.Floor(x), math.Floor(y)
		for j := range 2 {
			for k := range 2 {
				weight := (1 - math.Abs(x-fx-float64(k))) * (1 - math.Abs(y-fy-float64(j)))
				r, c := int(fy)+j+1, int(fx)+k+1
				if r >= 0 && r < 3 && c >= 0 && c < 3 {
					tap[r][c] += float32(weight / points)
				}
			}
		}
	}
	parallel(height, func(y int) {
		var rows [3][]float32
		for i := range rows {
			yy := min(max(y+i-1, 0), height-1)
			rows[i] = in[yy*width : (yy+1)*width]
		}
		o := out[y*width : (y+1)*width]
		for x := range o {
			l, r := max(x-1, 0), min(x+1, width-1)
			s := float32(0)
			for i := range rows {
				s += tap[i][0]*rows[i][l] + tap[i][1]*rows[i][x] + tap[i][2]*rows[i][r]
			}
			o[x] = s
		}
	})
}

// Noise of a small phone sensor at ISO 1 in the units here, after the phone's own
// smoothing: photons (variance per unit of light) and readout.
const (
	photonVariance = 4e-5
	readSigma      = 0.0012
	colourShare    = 0.4 // of the noise is a channel's own, the rest is common
)

// expose adds noise and applies the tone curve: sRGB's, with pressed highlights.
// The result is from 0 to 255.
func (d Develop) expose(p *lightPicture, seed, photo uint64) {
	curve := newToneCurve(d.Knee)
	parallel(p.height, func(y int) {
		g := rand.New(rand.NewPCG(seed, (streamNoise+photo)<<32|uint64(y)))
		for x := range p.width {
			i := y*p.width + x
			common := float32(g.NormFloat64())
			for c := range p.channel {
				v := p.channel[c][i]
				sigma := float32(math.Sqrt(d.ISO * (photonVariance*float64(max(v, 0)) + readSigma*readSigma*d.ISO)))
				v += sigma * ((1-colourShare)*common + colourShare*float32(g.NormFloat64()))
				p.channel[c][i] = curve.at(v)
			}
		}
	})
}

// toneCurve is a table of the tone curve over the square root of the light.
type toneCurve [4097]float32

func newToneCurve(knee float64) *toneCurve {
	t := new(toneCurve)
	for i := range t {
		s := float64(i) / 4096 * 2
		t[i] = float32(255 * sRGB(press(s*s, knee)))
	}
	return t
}

func (t *toneCurve) at(v float32) float32 {
	s := float32(math.Sqrt(float64(max(v, 0)))) * 2048
	if s >= 4095 {
		return t[4096]
	}
	i := int(s)
	f := s - float32(i)
	return t[i]*(1-f) + t[i+1]*f
}

// press leaves light below the knee alone and bends what is above it towards 1.
func press(v, knee float64) float64 {
	if v <= knee {
		return v
	}
	return knee + (1-knee)*(1-math.Exp(-(v-knee)/(1-knee)))
}

// sRGB is the transfer curve of IEC 61966-2-1.
func sRGB(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// store sharpens the luminance and rounds to bytes, colours at half the resolution
// (ITU-R BT.601 as in JFIF).
func (d Develop) store(p *lightPicture, luma []float32) *image.YCbCr {
	w, h := p.width, p.height
	r, g, b := p.channel[0], p.channel[1], p.channel[2]
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	parallel(h, func(y int) {
		for i := y * w; i < (y+1)*w; i++ {
			luma[i] = 0.299*r[i] + 0.587*g[i] + 0.114*b[i]
		}
	})
	amount := float32(d.Sharpen)
	parallel(h, func(y int) {
		up, mid, down := luma[max(y-1, 0)*w:], luma[y*w:], luma[min(y+1, h-1)*w:]
		for x := range w {
			l, e := max(x-1, 0), min(x+1, w-1)
			soft := (4*mid[x] + 2*(mid[l]+mid[e]+up[x]+down[x]) + up[l] + up[e] + down[l] + down[e]) / 16
			out.Y[y*out.YStride+x] = toByte(mid[x] + amount*(mid[x]-soft))
		}
	})
	parallel((h+1)/2, func(cy int) {
		for cx := range (w + 1) / 2 {
			var red, blue, grey float32
			for k := range 4 {
				i := min(2*cy+k/2, h-1)*w + min(2*cx+k%2, w-1)
				red, blue, grey = red+r[i]/4, blue+b[i]/4, grey+luma[i]/4
			}
			out.Cb[cy*out.CStride+cx] = toByte(128 + 0.564*(blue-grey))
			out.Cr[cy*out.CStride+cx] = toByte(128 + 0.713*(red-grey))
		}
	})
	return out
}

func toByte(v float32) uint8 { return uint8(min(max(v+0.5, 0), 255)) }
