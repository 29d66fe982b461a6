package samples

import "math"

// The zones of a rim's profile.
const (
	rimBed = iota
	rimSlope
	rimWall // the brake track
	rimCrest
	rimInside // the side of the flange that the tyre hides
)

// rimProfile is the section of a box rim: its bed, side walls, flanges with crests
// rounded by flangeRoundMm, and the well between the flanges.
func rimProfile(w Wheel) []knot {
	half, crest, bead := w.RimWidthMm/2, w.RimDiameterMm/2, w.BeadSeatMm/2
	side := func(sign float64) []knot {
		s := []knot{
			{bead - 15, sign * 0.55 * half, rimSlope},
			{bead - 7, sign * half, rimWall},
		}
		const steps = 6
		for i := range steps {
			sin, cos := math.Sincos(math.Pi * float64(i) / steps)
			s = append(s, knot{crest - flangeRoundMm + flangeRoundMm*sin, sign * (half - flangeRoundMm + flangeRoundMm*cos), rimCrest})
		}
		return append(s, knot{crest - flangeRoundMm, sign * (half - 2*flangeRoundMm), rimInside}, knot{bead, sign * (half - 2*flangeRoundMm), rimInside})
	}
	right, left := side(1), side(-1)
	var profile []knot
	// Up the right side, across the well, down the left side, back along the bed. A
	// knot labels the band that follows it, so going down labels move by one.
	profile = append(profile, right...)
	for i := len(left) - 1; i >= 0; i-- {
		k := left[i]
		k.zone = rimInside
		if i > 0 {
			k.zone = left[i-1].zone
		}
		profile = append(profile, k)
	}
	profile[len(profile)-1].zone = rimBed
	return append(profile, knot{profile[0].r, profile[0].z, rimBed})
}

// spun is the frame of a rim or tyre: u points to the valve.
func (w Wheel) spun(axis vec, turnDeg float64) axes {
	upright := axesAbout(w.Hub, w.Axle(), vec{Z: 1})
	sin, cos := math.Sincos(radians(turnDeg))
	return axesAbout(w.Hub, axis, plus(times(cos, upright.u), times(sin, upright.v)))
}

func (w Wheel) tyreRadii() (R, r float64) {
	return w.TyreDiameterMm/2 - w.TyreWidthMm/2, w.TyreWidthMm / 2
}

// addWheel builds rim, tyre, spokes, valve and hub.
func (m *assembly) addWheel(w Wheel, l looks, turnDeg float64) {
	rim := w.spun(w.RimAxis(turnDeg), turnDeg)
	tyre := w.spun(w.TyreAxis(turnDeg), turnDeg)
	R, r := w.tyreRadii()
	m.addFine(tyreFinish(l.tyre, r, w.RimDiameterMm/2), &torus{axes: tyre, R: R, r: r, vMax: shoulder},
		newTyreWall(tyre, w, 1), newTyreWall(tyre, w, -1))
	m.addFine(rimFinish(l.rim), newLathe(rim, rimProfile(w)...))

	bed := w.BeadSeatMm/2 - 15
	const flange, flangeAt = 24.0, 27.0
	for i := range l.spokes {
		side := float64(1 - 2*(i%2))
		lean := radians(46) * float64(1-2*(i/2%2))
		angle := (float64(i) + 0.5) * 2 * math.Pi / float64(l.spokes)
		m.add(steel(), capsule{rim.onCircle(flange, angle+lean, side*flangeAt), rim.onCircle(bed+1, angle, side*3), 1})
		m.add(steel(), capsule{rim.onCircle(bed-9, angle, side*3.6), rim.onCircle(bed+1, angle, side*3), 2})
	}
	m.add(plastic(grey(0.02)), capsule{rim.onCircle(bed-34, 0, 0), rim.onCircle(bed, 0, 0), 3.2})
	hub := newLathe(w.spun(w.Axle(), turnDeg),
		knot{0, -40, 0}, knot{9, -40, 1}, knot{9, -31, 2}, knot{28, -29, 3}, knot{28, -25, 4}, knot{14, -19, 5},
		knot{14, 19, 4}, knot{28, 25, 3}, knot{28, 29, 2}, knot{9, 31, 1}, knot{9, 40, 0}, knot{0, 40, 0})
	m.add(l.boom, hub)
}

// shoulder is where the round of a tyre ends and its side wall bends in to the bead.
const shoulder = 100 * math.Pi / 180

// tyreWall is a tyre's side wall from the shoulder to the bead, inside the flange.
type tyreWall struct {
	*lathe
	R float64
}

func newTyreWall(a axes, w Wheel, side float64) tyreWall {
	R, r := w.tyreRadii()
	sin, cos := math.Sincos(shoulder)
	start := vec{X: R + r*cos, Z: r * sin}
	seat := vec{X: w.RimDiameterMm/2 - 1, Z: w.RimWidthMm/2 - 2*flangeRoundMm - 0.4}
	// A parabola that leaves the shoulder smoothly: its control point is down the tangent.
	control := plus(start, times(0.5*norm(minus(seat, start)), vec{X: -sin, Z: cos}))
	const bands = 6
	var profile []knot
	for i := range bands + 1 {
		f := float64(i) / bands
		p := between(between(start, control, f), between(control, seat, f), f)
		profile = append(profile, knot{r: p.X, z: side * p.Z})
	}
	profile = append(profile, knot{r: w.BeadSeatMm / 2, z: side * seat.Z})
	return tyreWall{newLathe(a, profile...), R}
}

func (t tyreWall) meet(r ray, h *hit) bool {
	if !t.lathe.meet(r, h) {
		return false
	}
	p := t.in(r.at(h.t))
	h.radius = math.Hypot(p.X, p.Y)
	h.u, h.v = math.Atan2(p.Y, p.X), math.Atan2(p.Z, h.radius-t.R)
	return true
}

// tyreFinish paints tread, side walls and stripe; what lies in the crevice at the
// rim gets little light.
func tyreFinish(t tyreLook, r, crest float64) func(h *hit) paint {
	const (
		treadEnd    = 0.95 // of v, rad
		stripeStart = 1.62
	)
	stripeEnd := stripeStart + 2.2/r
	return func(h *hit) paint {
		v := math.Abs(h.v)
		p := t.rubber
		switch {
		case t.stripe && v > stripeStart && v < stripeEnd:
			p = paint{base: grey(0.55)}
			h.zone = 2
		case v > treadEnd:
			p = t.wall
			h.zone = 1
		case t.tread > 0:
			wave := math.Cos(h.u*float64(t.tread)+3*v) + 0.8*math.Cos(9*v)
			p.base = p.base.scale(1 - 0.45*smooth(wave, 0.4, 1.4))
		}
		p.base = p.base.scale(0.15 + 0.85*smooth(h.radius-crest, -0.5, 5))
		return p
	}
}

// rimFinish darkens the sides of the flanges that face the tyre.
func rimFinish(p paint) func(h *hit) paint {
	return func(h *hit) paint {
		q := p
		if h.zone == rimInside {
			q.base, q.mirror = q.base.scale(0.12), q.mirror*0.05
		}
		return q
	}
}

// inboard is the direction along the axle towards the vehicle's middle, as a sign.
func (w Wheel) inboard() float64 { return -w.Side.outward() }

// kingpinMm is how far inboard of the hub the kingpin stands.
const kingpinMm = 78

// addFrontEnd builds what carries a front wheel: stub axle, kingpin, brake, steering
// arm, and returns the kingpin's middle and the arm's end.
func (m *assembly) addFrontEnd(w Wheel, l looks) (kingpin, arm vec) {
	s := w.inboard()
	axle := axesAbout(w.Hub, w.Axle(), vec{Z: 1})
	at := func(along float64) axes { return axesAbout(axle.onCircle(0, 0, s*along), axle.w, axle.u) }
	m.add(steel(), newRod(at(0), 7.5, min(s*20, s*kingpinMm), max(s*20, s*kingpinMm)))
	kingpin = at(kingpinMm).o
	post := axesAbout(kingpin, unit(vec{X: s * 0.17, Y: -0.1, Z: 1}), vec{Y: 1})
	m.add(l.frame, newRod(post, 18, -42, 42))
	for _, end := range []float64{-1, 1} {
		m.add(plastic(grey(0.02)), newRod(post, 20, min(end*42, end*50), max(end*42, end*50)))
	}
	m.add(steel(), newRod(post, 8, 50, 55))

	if l.drum {
		m.add(satin(), newRod(at(0), 45, min(s*20, s*44), max(s*20, s*44)))
	} else {
		m.addDisc(at(44), l)
		// Behind the wheel's top: angles about the axle grow from the top to the rear.
		clamp := axle.onCircle(74, radians(62), s*44)
		m.add(plastic(grey(0.03)), box{axesAbout(clamp, axle.w, minus(clamp, axle.o)), vec{X: 19, Y: 24, Z: 16}})
	}
	arm = plus(kingpin, vec{X: s * 12, Y: -88, Z: -22})
	m.add(l.boom, tube(7, plus(kingpin, vec{Z: -30}), arm)...)
	return kingpin, arm
}

// addDisc builds a brake disc: a ring with slots on a spider.
func (m *assembly) addDisc(a axes, l looks) {
	const inner, outer, half = 60.0, 80.0, 0.9
	ring := newLathe(a, knot{inner, -half, 0}, knot{outer, -half, 1}, knot{outer, half, 2}, knot{inner, half, 1}, knot{inner, -half, 0})
	ring.cut = func(angle, radius float64) bool {
		slot := math.Mod(angle+10+radius*0.02, math.Pi/12) - math.Pi/24
		return math.Abs(slot)*radius < 3 && math.Abs(radius-70) < 6
	}
	spider := newLathe(a, knot{0, half, 3}, knot{inner, half, 3})
	spider.cut = func(angle, radius float64) bool {
		arm := math.Mod(angle+10+radius*0.012, math.Pi/3) - math.Pi/6
		return radius > 24 && math.Abs(arm)*radius > 6
	}
	m.add(steel(), ring, spider)
}

// addGuard builds a mudguard around a wheel's upper half, and its stay.
func (m *assembly) addGuard(w Wheel, p paint) {
	const clearance, rows, columns = 9.0, 34, 9
	a := axesAbout(w.Hub, w.Axle(), vec{Z: 1})
	R, r := w.tyreRadii()
	from, to := radians(-62), radians(100) // about the axle, from the top forward
	if w.Side == Rear {
		from = radians(-20)
	}
	m.add(p, sheetOf(rows, columns, func(i, j int) vec {
		// Angles about the axle grow from the top towards the rear: u is up, v = w × u.
		angle := from + (to-from)*float64(i)/(rows-1)
		section := radians(105) * (2*float64(j)/(columns-1) - 1)
		sin, cos := math.Sincos(section)
		return a.onCircle(R+(r+clearance)*cos, angle, (r+clearance)*sin)
	})...)
	m.add(steel(), tube(2.5, a.onCircle(R+r+clearance, radians(30), 0), a.onCircle(R-r, radians(30), w.inboard()*60), a.onCircle(0, 0, w.inboard()*60))...)
}
