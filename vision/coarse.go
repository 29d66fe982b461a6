package vision

import (
	"math"

	"rimpair/calib"
)

// Coarse is a small copy of a picture for searching: brightness on a logarithmic
// scale, so that a step means the same ratio in the shade and in the sun.
type Coarse struct {
	width, height int
	scale         float64   // pixels here per pixel of the picture
	light         []float32 // linear
	log           []float32
}

// darkest is the brightness, in linear light, below which differences are noise.
const darkest = 0.01

// Coarse reduces the picture by a whole factor, each pixel the mean of a square.
func (g *Gray) Coarse(factor int) *Coarse {
	c := &Coarse{width: g.Width / factor, height: g.Height / factor, scale: 1 / float64(factor)}
	c.light = make([]float32, c.width*c.height)
	for y := range c.height {
		for x := range c.width {
			sum := 0.0
			for dy := range factor {
				row := g.Pix[(y*factor+dy)*g.Width+x*factor:]
				for _, v := range row[:factor] {
					sum += linearLight[v]
				}
			}
			c.light[y*c.width+x] = float32(sum / float64(factor*factor))
		}
	}
	c.takeLogs()
	return c
}

func (c *Coarse) takeLogs() {
	c.log = make([]float32, len(c.light))
	for i, v := range c.light {
		c.log[i] = float32(math.Log(darkest + float64(v)))
	}
}

// Halve reduces the copy further: each pixel the mean of four.
func (c *Coarse) Halve() *Coarse {
	h := &Coarse{width: c.width / 2, height: c.height / 2, scale: c.scale / 2}
	h.light = make([]float32, h.width*h.height)
	for y := range h.height {
		upper, lower := c.light[2*y*c.width:], c.light[(2*y+1)*c.width:]
		for x := range h.width {
			h.light[y*h.width+x] = (upper[2*x] + upper[2*x+1] + lower[2*x] + lower[2*x+1]) / 4
		}
	}
	h.takeLogs()
	return h
}

// holds says whether a place of the copy lies between the middles of its pixels.
func (c *Coarse) holds(x, y float64) bool {
	return x >= 0 && y >= 0 && x < float64(c.width-1) && y < float64(c.height-1)
}

// at is the logarithmic brightness at a place of the copy that it holds.
func (c *Coarse) at(x, y float64) float64 {
	x0, y0 := int(x), int(y)
	fx, fy := float32(x-float64(x0)), float32(y-float64(y0))
	i := y0*c.width + x0
	upper, lower := c.log[i:i+2], c.log[i+c.width:i+c.width+2]
	top := upper[0]*(1-fx) + upper[1]*fx
	bottom := lower[0]*(1-fx) + lower[1]*fx
	return float64(top*(1-fy) + bottom*fy)
}

// Step is how much brighter, as a logarithm, it is reach pixels beyond p along the
// unit vector (nx, ny) than at the middle one of three places before it: a stripe
// beside the edge of a dark body does not hide it, and a thin dark line does not
// make one. ok is false outside the picture.
func (c *Coarse) Step(p calib.Point, nx, ny, reach float64) (step float64, ok bool) {
	// The centre of a coarse pixel is the middle of its square.
	x, y := (p.X+0.5)*c.scale-0.5, (p.Y+0.5)*c.scale-0.5
	dx, dy := reach*nx*c.scale, reach*ny*c.scale
	if !c.holds(x+dx, y+dy) || !c.holds(x-dx, y-dy) {
		return 0, false
	}
	a, b, d := c.at(x-dx/3, y-dy/3), c.at(x-dx*2/3, y-dy*2/3), c.at(x-dx, y-dy)
	return c.at(x+dx, y+dy) - max(min(a, b), min(max(a, b), d)), true
}
