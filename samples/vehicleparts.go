package samples

import "math"

// addVehicle builds the whole tricycle with its front wheels turned by an angle.
func (m *assembly) addVehicle(v Vehicle, l looks, turnDeg float64) {
	black := plastic(grey(0.022))
	z := (v.Left.Hub.Z + v.Right.Hub.Z) / 2
	back := v.Rear.Hub

	// Steered wheels, cross tube and steering.
	centre := vec{Y: -25, Z: z + 5}
	for _, w := range []Wheel{v.Left, v.Right} {
		out := w.Side.outward()
		m.addWheel(w, l, turnDeg)
		kingpin, arm := m.addFrontEnd(w, l)
		m.add(l.frame, tube(18, curve(3, kingpin, between(kingpin, centre, 0.5), centre)...)...)
		inner := vec{X: out * 28, Y: -95, Z: z - 25}
		m.add(steel(), tube(4.5, arm, inner)...)
		m.add(black, capsule{between(arm, inner, 0.35), between(arm, inner, 0.6), 6.5})
		m.add(satin(), capsule{arm, plus(arm, vec{Z: 12}), 8}, capsule{inner, plus(inner, vec{Z: 12}), 8})
		if l.guards {
			m.addGuard(w, black)
		}
		if l.bars {
			m.addBar(out, z, kingpin, black)
		}
	}
	m.addWheel(v.Rear, l, 0)

	// Main tube, boom and rear fork.
	fork := vec{X: back.X, Y: back.Y + v.Rear.TyreDiameterMm/2 + 60, Z: z + 20}
	m.add(l.frame, tube(21, curve(4, vec{Y: 400, Z: z + 95}, vec{Y: -200, Z: z + 15}, vec{Y: -420, Z: z + 5}, fork)...)...)
	for _, side := range []float64{-1, 1} {
		end := plus(back, vec{X: side * 62})
		m.add(l.frame, tube(11, curve(5, fork, plus(fork, vec{X: side * 55, Y: -70}), end)...)...)
	}
	crank := vec{Y: 640, Z: z + 150}
	m.add(l.boom, tube(18, vec{Y: 380, Z: z + 92}, crank)...)
	forward := unit(minus(crank, vec{Y: 380, Z: z + 92}))
	m.add(black, newRod(axesAbout(vec{Y: 400, Z: z + 95}, forward, vec{X: 1}), 24, -14, 22))
	m.addCranks(crank, l, black)

	// Chain: to the idler under the seat and on to the rear wheel.
	idler := vec{X: 40, Y: -330, Z: z - 5}
	for _, lane := range []float64{-1, 1} {
		m.add(plastic(grey(0.03)), tube(5, plus(crank, vec{X: 42, Z: lane * 70}), plus(idler, vec{Z: lane * 10}), plus(back, vec{X: 45, Z: lane * 32}))...)
	}
	m.addSeat(z, l)
}

// addCranks builds bottom bracket, cranks, pedals and chain ring.
func (m *assembly) addCranks(o vec, l looks, black paint) {
	a := axesAbout(o, vec{X: 1}, vec{Z: 1})
	m.add(black, newRod(a, 22, -36, 36))
	m.add(steel(), newRod(a, 9, -62, 62))
	for _, side := range []float64{-1, 1} {
		angle := radians(l.crankDeg)
		if side < 0 {
			angle += math.Pi
		}
		hub, end := a.onCircle(0, 0, side*60), a.onCircle(155, angle, side*64)
		m.add(black, tube(9.5, hub, end)...)
		m.add(steel(), tube(6, end, plus(end, vec{X: side * 30}))...)
		facing := axesAbout(plus(end, vec{X: side * 68}), unit(vec{Y: 1, Z: -0.35}), vec{X: 1})
		m.add(black, box{facing, vec{X: 46, Y: 34, Z: 11}})
	}
	const teeth, outer = 44, 90.0
	ring := newLathe(a, knot{18, 41, 0}, knot{outer, 41, 0}, knot{outer, 44, 1}, knot{18, 44, 2})
	ring.cut = func(angle, radius float64) bool {
		spoke := math.Mod(angle+10, 2*math.Pi/5) - math.Pi/5
		return radius > outer-3+3*math.Cos(teeth*angle) || radius > 26 && radius < outer-20 && math.Abs(spoke)*radius > 9
	}
	m.add(plastic(grey(0.03)), ring)
}

// addBar builds one side of the under-seat steering: bar, grip, lever, brake cable.
func (m *assembly) addBar(out, z float64, kingpin vec, black paint) {
	p := func(x, y, dz float64) vec { return vec{X: out * x, Y: y, Z: z + dz} }
	m.add(black, tube(11, curve(4, p(20, -170, -35), p(190, -250, -30), p(262, -285, 40), p(262, -315, 190))...)...)
	grip, top := p(262, -310, 165), p(262, -335, 300)
	m.add(plastic(grey(0.03)), capsule{grip, top, 16})
	lever := plus(top, vec{Y: 30, Z: 5})
	m.add(steel(), tube(4.5, plus(top, vec{Z: 8}), plus(lever, vec{Z: 12}), plus(lever, vec{Y: 25, Z: -90}))...)
	brake := plus(kingpin, vec{X: out * 30, Y: -55, Z: 45})
	m.add(black, tube(2.4, curve(8, lever, plus(lever, vec{X: -out * 60, Y: 60, Z: -60}), between(plus(lever, vec{Z: -150}), brake, 0.5), brake)...)...)
}

// addSeat builds the seat: a sling between two side tubes.
func (m *assembly) addSeat(z float64, l looks) {
	side := curve(4,
		vec{Y: -150, Z: z + 88}, vec{Y: -230, Z: z + 62}, vec{Y: -350, Z: z + 58}, vec{Y: -450, Z: z + 105},
		vec{Y: -560, Z: z + 235}, vec{Y: -690, Z: z + 400}, vec{Y: -790, Z: z + 560})
	rows := len(side)
	const columns = 9
	half := func(i int) float64 {
		f := float64(i) / float64(rows-1)
		return 158 - 25*smooth(f, 0.75, 1) - 30*smooth(0.12-f, 0, 0.12)
	}
	m.add(l.seat, sheetOf(rows, columns, func(i, j int) vec {
		x := 2*float64(j)/(columns-1) - 1
		sag := 16 * (1 - x*x)
		return plus(side[i], vec{X: x * half(i), Y: -sag * 0.4, Z: -sag})
	})...)
	for _, s := range []float64{-1, 1} {
		var edge []vec
		for i := range rows {
			edge = append(edge, plus(side[i], vec{X: s * half(i), Z: -4}))
		}
		m.add(plastic(grey(0.03)), tube(9, edge...)...)
		m.add(plastic(grey(0.03)), tube(9, vec{X: s * 15, Y: -300, Z: z}, plus(side[8], vec{X: s * half(8), Z: -8}))...)
	}
}
