package samples

import (
	"math"
	"math/rand/v2"
)

// looks is everything about a scene that has no part in the truth.
type looks struct {
	frame, boom, seat paint
	rim               paint
	tyre              tyreLook
	spokes            int
	drum              bool // drum brakes, else discs
	guards            bool
	crankDeg          float64
	bars              bool // upright handlebars beside the seat
	floor             floor
	lamp              lamp
	cables            [][]vec // lying on the floor
	boxes             []box   // standing about
}

// tyreLook is how a tyre is made up.
type tyreLook struct {
	rubber, wall paint
	stripe       bool // a reflecting band on the side wall
	tread        int  // blocks round the tyre; 0 is smooth
}

func plastic(c rgb) paint { return paint{base: c, mirror: 0.035, sharp: 25} }
func lacquer(c rgb) paint { return paint{base: c, mirror: 0.05, sharp: 300} }
func rubber(v float64) paint {
	return paint{base: rgb{v, v * 0.97, v * 0.93}, mirror: 0.02, sharp: 8}
}
func steel() paint { return paint{base: grey(0.62), mirror: 0.85, sharp: 80, metal: true} }
func satin() paint { return paint{base: grey(0.55), mirror: 0.45, sharp: 25, metal: true} }

func newLooks(g *rand.Rand, s Setting, guards Guards, sheets []Sheet) looks {
	colours := []rgb{
		{0.45, 0.02, 0.02}, {0.02, 0.06, 0.4}, {0.01, 0.18, 0.05}, {0.65, 0.3, 0.02}, {0.25, 0.02, 0.3},
		{0.02, 0.02, 0.022}, {0.6, 0.6, 0.58}, {0.03, 0.25, 0.28},
	}
	l := looks{
		frame:    lacquer(tinted(g, pick(g, colours...), 0.2)),
		boom:     pick(g, plastic(grey(0.02)), satin()),
		seat:     paint{base: pick(g, rgb{0.25, 0.02, 0.03}, grey(0.03), rgb{0.04, 0.06, 0.12}, rgb{0.2, 0.17, 0.12})},
		rim:      pick(g, plastic(grey(0.015)), lacquer(grey(0.02)), satin(), satin(), lacquer(grey(0.7)), steel()),
		spokes:   pick(g, 28, 32, 36),
		drum:     g.IntN(3) == 0,
		guards:   guards == WithGuards || guards == SomeGuards && g.IntN(5) == 0,
		crankDeg: uniform(g, 0, 360),
		bars:     g.IntN(4) != 0,
		floor:    newFloor(g, s),
		lamp:     newLamp(g, s),
	}
	l.tyre = tyreLook{rubber: rubber(uniform(g, 0.018, 0.04)), tread: pick(g, 0, 90, 120, 150)}
	l.tyre.wall = l.tyre.rubber
	switch g.IntN(5) {
	case 0:
		l.tyre.wall = paint{base: tinted(g, rgb{0.36, 0.18, 0.07}, 0.2), mirror: 0.02, sharp: 8}
	case 1, 2:
		l.tyre.stripe = true
	}
	l.floor.scatter(g, s, sheets)
	if s == Garage {
		for range 1 + g.IntN(2) {
			l.cables = append(l.cables, cableOnFloor(g, sheets))
		}
		for range g.IntN(4) {
			l.boxes = append(l.boxes, boxOnFloor(g))
		}
	}
	return l
}

// newLamp draws the light. Surroundings and sun together give a sheet of paper on the
// floor about the same brightness in every picture, as a phone's exposure does.
func newLamp(g *rand.Rand, s Setting) lamp {
	azimuth := uniform(g, 0, 2*math.Pi)
	height := radians(uniform(g, 25, 65))
	var l lamp
	switch s {
	case Driveway:
		strength := uniform(g, 0.9, 1.6)
		l = lamp{hard: true, sun: rgb{1, 0.93, 0.82}.scale(strength), sky: rgb{0.22, 0.28, 0.38}, horizon: rgb{0.28, 0.3, 0.33}}
	case Shade:
		l = lamp{sun: grey(0.12), sky: rgb{0.75, 0.8, 0.88}, horizon: rgb{0.42, 0.45, 0.48}}
		height = radians(uniform(g, 50, 80))
	default:
		warm := uniform(g, 0.85, 1)
		tone := rgb{1, math.Sqrt(warm), warm}
		l = lamp{sun: tone.scale(uniform(g, 0.35, 0.6)), sky: tone.scale(0.5), horizon: grey(0.28)}
		height = radians(uniform(g, 55, 85))
	}
	sinA, cosA := math.Sincos(azimuth)
	l.towards = vec{X: math.Cos(height) * cosA, Y: math.Cos(height) * sinA, Z: math.Sin(height)}
	onFloor := l.ambient(vec{Z: 1}).add(l.sun.scale(l.towards.Z)).luminance()
	l.exposure = uniform(g, 0.62, 0.85) / (paperWhite * onFloor)
	l.bounce = rgb{0.3, 0.29, 0.28}.scale(onFloor * 0.6)
	return l
}

// cableOnFloor is a winding cable: half of them begin on a sheet, the others anywhere
// around the vehicle.
func cableOnFloor(g *rand.Rand, sheets []Sheet) []vec {
	angle := uniform(g, 0, 2*math.Pi)
	p := vec{X: uniform(g, -900, 900), Y: uniform(g, -900, 1000), Z: cableRadiusMm}
	if len(sheets) > 0 && g.IntN(2) == 0 {
		s := pick(g, sheets...)
		p.X, p.Y = s.X+uniform(g, -100, 100), s.Y+uniform(g, -140, 140)
	}
	line := []vec{p}
	bend := 0.0
	for range 60 {
		bend = 0.85*bend + uniform(g, -0.09, 0.09)
		angle += bend
		sin, cos := math.Sincos(angle)
		p = plus(p, vec{X: 28 * cos, Y: 28 * sin})
		line = append(line, p)
	}
	return line
}

const cableRadiusMm = 4.2

// boxOnFloor is a carton that stands well beside the vehicle.
func boxOnFloor(g *rand.Rand) box {
	half := vec{X: uniform(g, 60, 160), Y: uniform(g, 60, 160), Z: uniform(g, 20, 120)}
	side := pick(g, -1., 1)
	o := vec{X: side * uniform(g, 900, 1500), Y: uniform(g, -900, 900), Z: half.Z}
	turn := uniform(g, 0, math.Pi)
	return box{axesAbout(o, vec{Z: 1}, vec{X: math.Cos(turn), Y: math.Sin(turn)}), half}
}
