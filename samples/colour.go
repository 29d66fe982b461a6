package samples

import (
	"math"
	"math/rand/v2"
)

// rgb is a colour in linear light.
type rgb struct{ r, g, b float64 }

func grey(v float64) rgb { return rgb{v, v, v} }

func (c rgb) add(d rgb) rgb            { return rgb{c.r + d.r, c.g + d.g, c.b + d.b} }
func (c rgb) mul(d rgb) rgb            { return rgb{c.r * d.r, c.g * d.g, c.b * d.b} }
func (c rgb) scale(f float64) rgb      { return rgb{c.r * f, c.g * f, c.b * f} }
func (c rgb) mix(d rgb, f float64) rgb { return c.scale(1 - f).add(d.scale(f)) }
func (c rgb) luminance() float64       { return 0.2126*c.r + 0.7152*c.g + 0.0722*c.b }

// tinted varies a colour a little.
func tinted(g *rand.Rand, c rgb, by float64) rgb {
	v := func(x float64) float64 { return x * (1 + uniform(g, -by, by)) }
	return rgb{v(c.r), v(c.g), v(c.b)}
}

// paint is how a surface answers light: what it scatters, and what it mirrors at
// normal incidence, blurred more the smaller sharp is. A metal tints its mirror image.
type paint struct {
	base   rgb
	mirror float64
	sharp  float64
	metal  bool
}

// lamp is the light of a scene: a sun or a main lamp from one direction, and the
// surroundings, brighter above than below.
type lamp struct {
	towards      vec // unit, to the sun
	sun          rgb // irradiance over π of a surface that faces it
	hard         bool
	sky, horizon rgb
	bounce       rgb // the floor, seen from the parts above it
	exposure     float64
}

// ambient is the surroundings' irradiance over π of a surface with normal n.
func (l lamp) ambient(n vec) rgb {
	up := 0.5 + 0.5*n.Z
	return l.bounce.mix(l.sky.mix(l.horizon, 1-up), up)
}

// mirrored is the surroundings in a direction.
func (l lamp) mirrored(d vec) rgb {
	if d.Z < 0 {
		return l.bounce.mix(l.horizon, math.Exp(6*d.Z))
	}
	c := l.horizon.mix(l.sky, math.Sqrt(d.Z))
	if !l.hard {
		// Long lamps overhead give metal its bright streaks.
		if s := math.Abs(d.X*0.8+d.Y*0.25) / (d.Z + 0.05); s < 0.35 {
			c = c.add(l.sun.scale(0.9 * (1 - s/0.35)))
		}
	}
	return c
}

// shade is the light that a surface sends back along a ray: open is the share of the
// surroundings it sees, lit the share of the sun.
func (l lamp) shade(p paint, n, d vec, open, lit float64) rgb {
	cos := dot(n, l.towards)
	light := l.ambient(n).scale(open)
	if cos > 0 {
		light = light.add(l.sun.scale(cos * lit))
	}
	out := p.base.mul(light)
	if p.mirror == 0 {
		return out
	}
	facing := min(max(-dot(n, d), 0), 1)
	grazing := 1 - facing
	grazing *= grazing * grazing * grazing * grazing
	away := plus(d, times(2*facing, n))
	image := l.mirrored(away).scale(open)
	if cos > 0 && lit > 0 {
		if s := dot(away, l.towards); s > 0 {
			image = image.add(l.sun.scale(lit * (p.sharp + 2) / 8 * math.Pow(s, p.sharp)))
		}
	}
	if p.metal {
		return out.scale(1 - p.mirror).add(p.base.mix(grey(1), grazing).mul(image).scale(p.mirror))
	}
	// The rougher a surface is, the less it gleams at its limb.
	return out.add(image.scale(p.mirror + (1-p.mirror)*grazing*0.6*p.sharp/(p.sharp+12)))
}
