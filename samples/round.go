package samples

import "math"

// torus is the envelope of balls of radius r along the circle of radius R about w,
// as far as |v| ≤ vMax: a tyre. u is the angle about the axis, from the frame's u; v
// the angle about the circle, 0 outermost, positive towards w.
type torus struct {
	axes
	R, r, vMax float64
}

// torusEpsMm is how near to the surface the march ends: it moves an outline by that much.
const torusEpsMm = 1e-3

func (k *torus) meet(r ray, h *hit) bool {
	q := k.ray(r)
	t, end, ok := ring{0, k.R + k.r, -k.r, k.r}.span(q)
	end = min(end, h.t)
	if !ok || t >= end {
		return false
	}
	// Far off, march by the distance to the surface, which never steps through it. Near
	// the surface its second derivative along the ray hardly changes: where it is
	// positive, Newton's step falls short; where it is negative, the step ends inside,
	// and is taken back by halves.
	last := t
	for range 300 {
		p := q.at(t)
		rho := math.Sqrt(p.X*p.X + p.Y*p.Y)
		off := rho - k.R
		away := math.Sqrt(off*off + p.Z*p.Z)
		gap := away - k.r
		switch {
		case gap < -torusEpsMm && t > last:
			t = (t + last) / 2
			continue
		case gap < torusEpsMm:
			if t <= tooNear {
				return false
			}
			v := math.Atan2(p.Z, off)
			if math.Abs(v) > k.vMax {
				return false // what lies behind is the side wall
			}
			radial := off / (away * rho)
			h.normal = k.turnOut(vec{X: p.X * radial, Y: p.Y * radial, Z: p.Z / away})
			h.t, h.u, h.v, h.radius, h.zone = t, math.Atan2(p.Y, p.X), v, rho, 0
			return true
		}
		step := gap
		if slope := (off*(p.X*q.d.X+p.Y*q.d.Y)/rho + p.Z*q.d.Z) / away; slope < 0 && gap < k.r/2 {
			step = min(-gap/slope, 4*gap)
		}
		if t == end {
			return false
		}
		last, t = t, min(t+step, end)
	}
	return false
}

func (k *torus) ball() (vec, float64) { return k.o, k.R + k.r }
func (k *torus) touches(c cone) bool  { return discTouches(k, k.w, k.r, c) }

// discTouches refines ballTouches for a flat body of half thickness h about a plane
// with the given normal.
func discTouches(s solid, normal vec, h float64, c cone) bool {
	if !ballTouches(s, c) {
		return false
	}
	centre, radius := s.ball()
	// Where the axis leaves the ball's stretch of the ray on the same side of the
	// slab, farther from it than the cone is wide, nothing is met.
	mid := dot(minus(centre, c.axis.o), c.axis.d)
	wide := c.base + c.slope*(max(mid, 0)+radius)
	reach := radius + wide
	a := dot(normal, minus(c.axis.at(mid-reach), centre))
	b := dot(normal, minus(c.axis.at(mid+reach), centre))
	return !(a > h+wide && b > h+wide || a < -h-wide && b < -h-wide)
}

// ring bounds a body of revolution: radii from rMin to rMax, heights along the axis
// from zMin to zMax.
type ring struct{ rMin, rMax, zMin, zMax float64 }

// span returns the stretch of a ray, in the body's own frame, inside the ring's
// outer cylinder.
func (g ring) span(q ray) (t0, t1 float64, ok bool) {
	t0, t1 = 0, math.Inf(1)
	if math.Abs(q.d.Z) > 1e-12 {
		a, b := (g.zMin-q.o.Z)/q.d.Z, (g.zMax-q.o.Z)/q.d.Z
		t0, t1 = max(t0, min(a, b)), min(t1, max(a, b))
	} else if q.o.Z < g.zMin || q.o.Z > g.zMax {
		return 0, 0, false
	}
	a := q.d.X*q.d.X + q.d.Y*q.d.Y
	b := q.o.X*q.d.X + q.o.Y*q.d.Y
	c := q.o.X*q.o.X + q.o.Y*q.o.Y - g.rMax*g.rMax
	if a > 1e-18 {
		disc := b*b - a*c
		if disc < 0 {
			return 0, 0, false
		}
		root := math.Sqrt(disc)
		t0, t1 = max(t0, (-b-root)/a), min(t1, (-b+root)/a)
	} else if c > 0 {
		return 0, 0, false
	}
	if t0 >= t1 {
		return 0, 0, false
	}
	// The distance from the axis is largest at the ends of the stretch.
	if g.rMin > 0 {
		p, e := q.at(t0), q.at(t1)
		if max(p.X*p.X+p.Y*p.Y, e.X*e.X+e.Y*e.Y) < g.rMin*g.rMin {
			return 0, 0, false
		}
	}
	return t0, t1, true
}

// knot is a corner of a lathe's profile; zone labels the surface up to the next one.
type knot struct {
	r, z float64
	zone int32
}

// lathe is a body of revolution about w with a polygonal profile. Holes and teeth are
// what cut removes.
type lathe struct {
	axes
	profile []knot
	normals []knot // of the bands, in the profile's plane
	bounds  ring
	cut     func(angle, radius float64) bool
}

func newLathe(a axes, profile ...knot) *lathe {
	b := ring{math.Inf(1), 0, math.Inf(1), math.Inf(-1)}
	for _, k := range profile {
		b.rMin, b.rMax = min(b.rMin, k.r), max(b.rMax, k.r)
		b.zMin, b.zMax = min(b.zMin, k.z), max(b.zMax, k.z)
	}
	l := &lathe{axes: a, profile: profile, bounds: b}
	for i := 1; i < len(profile); i++ {
		p, q := profile[i-1], profile[i]
		slant := math.Hypot(q.r-p.r, q.z-p.z)
		l.normals = append(l.normals, knot{r: (q.z - p.z) / slant, z: (p.r - q.r) / slant})
	}
	return l
}

// newRod is a round bar with flat ends.
func newRod(a axes, radius, z0, z1 float64) *lathe {
	return newLathe(a, knot{0, z0, 0}, knot{radius, z0, 1}, knot{radius, z1, 2}, knot{0, z1, 0})
}

func (l *lathe) meet(r ray, h *hit) bool {
	q := l.ray(r)
	t0, _, ok := l.bounds.span(q)
	if !ok || t0 >= h.t {
		return false
	}
	found, normal := false, vec{}
	for i := 1; i < len(l.profile); i++ {
		a, b := l.profile[i-1], l.profile[i]
		if t, ok := meetBand(q, a, b, h.t); ok {
			p := q.at(t)
			rho := math.Sqrt(p.X*p.X + p.Y*p.Y)
			if l.cut != nil && l.cut(math.Atan2(p.Y, p.X), rho) {
				continue
			}
			n := l.normals[i-1]
			normal = vec{X: n.r * p.X / rho, Y: n.r * p.Y / rho, Z: n.z}
			if dot(normal, q.d) > 0 {
				normal = times(-1, normal)
			}
			h.t, h.zone, found = t, a.zone, true
		}
	}
	if found {
		h.normal = l.turnOut(normal)
	}
	return found
}

// meetBand meets the band of a cone (or cylinder, or flat ring) between two knots.
func meetBand(q ray, a, b knot, far float64) (float64, bool) {
	if a.z == b.z {
		if q.d.Z == 0 {
			return 0, false
		}
		t := (a.z - q.o.Z) / q.d.Z
		x, y := q.o.X+t*q.d.X, q.o.Y+t*q.d.Y
		rho2, lo, hi := x*x+y*y, min(a.r, b.r), max(a.r, b.r)
		return t, t > tooNear && t < far && rho2 >= lo*lo && rho2 <= hi*hi
	}
	k := (b.r - a.r) / (b.z - a.z)
	e := a.r + k*(q.o.Z-a.z)
	qa := q.d.X*q.d.X + q.d.Y*q.d.Y - k*k*q.d.Z*q.d.Z
	qb := q.o.X*q.d.X + q.o.Y*q.d.Y - k*e*q.d.Z
	qc := q.o.X*q.o.X + q.o.Y*q.o.Y - e*e
	disc := qb*qb - qa*qc
	if disc < 0 || qa == 0 {
		return 0, false
	}
	root := math.Sqrt(disc)
	t0, t1 := (-qb-root)/qa, (-qb+root)/qa
	if t0 > t1 {
		t0, t1 = t1, t0
	}
	lo, hi := min(a.z, b.z), max(a.z, b.z)
	for _, t := range [2]float64{t0, t1} {
		z := q.o.Z + t*q.d.Z
		// The cone's other half, beyond its apex, has a negative radius.
		if t > tooNear && t < far && z >= lo && z <= hi && e+k*t*q.d.Z >= 0 {
			return t, true
		}
	}
	return 0, false
}

func (l *lathe) ball() (vec, float64) {
	half := (l.bounds.zMax - l.bounds.zMin) / 2
	return l.out(vec{Z: l.bounds.zMin + half}), math.Hypot(l.bounds.rMax, half)
}

func (l *lathe) touches(c cone) bool {
	return discTouches(l, l.w, (l.bounds.zMax-l.bounds.zMin)/2, c)
}
