package samples

import "math"

// ray is a half line with a unit direction.
type ray struct{ o, d vec }

func (r ray) at(t float64) vec { return plus(r.o, times(t, r.d)) }

// hit is the nearest meeting of a ray so far.
type hit struct {
	t      float64
	normal vec // outward, unit
	u, v   float64
	radius float64 // of a tyre's surface, from its axis
	zone   int32   // which part of the solid's surface, as the solid counts them
}

// cone is all that lies within base + slope·t of a ray's point at t: the bundle of
// rays of a picture tile, or of a cell of the sun's light.
type cone struct {
	axis        ray
	base, slope float64
}

// solid is something a ray can meet.
type solid interface {
	// meet reports whether the ray enters the solid between a small distance and
	// h.t, and if so updates h.
	meet(r ray, h *hit) bool
	// ball encloses the solid.
	ball() (centre vec, radius float64)
	// touches is false only if no ray in the cone meets the solid.
	touches(c cone) bool
}

// tooNear is where rays start, in mm: less than any gap between parts that matters
// for shadows, more than the rounding of an intersection.
const tooNear = 0.02

func ballTouches(s solid, c cone) bool {
	centre, radius := s.ball()
	t := dot(minus(centre, c.axis.o), c.axis.d)
	if t < -radius {
		return false
	}
	reach := radius*math.Sqrt(1+c.slope*c.slope) + c.base + c.slope*max(t, 0)
	return norm2(minus(centre, c.axis.at(t))) <= reach*reach
}

// axes is a right-handed frame: w is a body's axis.
type axes struct{ o, u, v, w vec }

// axesAbout returns a frame whose w is the axis and whose u is as near to the hint
// as it can be.
func axesAbout(o, axis, hint vec) axes {
	w := unit(axis)
	u := unit(minus(hint, times(dot(hint, w), w)))
	return axes{o: o, u: u, v: cross(w, u), w: w}
}

func (a axes) turnIn(d vec) vec {
	return vec{X: dot(d, a.u), Y: dot(d, a.v), Z: dot(d, a.w)}
}

func (a axes) turnOut(d vec) vec {
	return vec{
		X: d.X*a.u.X + d.Y*a.v.X + d.Z*a.w.X,
		Y: d.X*a.u.Y + d.Y*a.v.Y + d.Z*a.w.Y,
		Z: d.X*a.u.Z + d.Y*a.v.Z + d.Z*a.w.Z,
	}
}

func (a axes) in(p vec) vec  { return a.turnIn(minus(p, a.o)) }
func (a axes) out(p vec) vec { return plus(a.o, a.turnOut(p)) }
func (a axes) ray(r ray) ray { return ray{a.in(r.o), a.turnIn(r.d)} }

// capsule is a round bar from a to b with round ends; u runs along it from 0 to 1.
type capsule struct {
	a, b vec
	r    float64
}

func (c capsule) meet(r ray, h *hit) bool {
	ab, oa := minus(c.b, c.a), minus(r.o, c.a)
	l2, abd, abo := norm2(ab), dot(ab, r.d), dot(ab, oa)
	// Cylinder: |oa + t d|² minus the square of its part along ab equals r².
	qa := l2 - abd*abd
	qb := l2*dot(oa, r.d) - abo*abd
	qc := l2*(norm2(oa)-c.r*c.r) - abo*abo
	disc := qb*qb - qa*qc
	if disc < 0 {
		return false
	}
	if qa > 1e-12*l2 {
		t := (-qb - math.Sqrt(disc)) / qa
		s := abo + t*abd
		if s > 0 && s < l2 {
			if t <= tooNear || t >= h.t {
				return false
			}
			s /= l2
			h.t, h.u, h.zone = t, s, 0
			h.normal = times(1/c.r, minus(r.at(t), plus(c.a, times(s, ab))))
			return true
		}
		if s <= 0 {
			return meetSphere(c.a, c.r, 0, r, h)
		}
		return meetSphere(c.b, c.r, 1, r, h)
	}
	if abd > 0 {
		return meetSphere(c.a, c.r, 0, r, h)
	}
	return meetSphere(c.b, c.r, 1, r, h)
}

func meetSphere(centre vec, radius, u float64, r ray, h *hit) bool {
	oc := minus(r.o, centre)
	b := dot(oc, r.d)
	disc := b*b - norm2(oc) + radius*radius
	if disc < 0 {
		return false
	}
	t := -b - math.Sqrt(disc)
	if t <= tooNear || t >= h.t {
		return false
	}
	h.t, h.u, h.zone = t, u, 0
	h.normal = times(1/radius, minus(r.at(t), centre))
	return true
}

func (c capsule) ball() (vec, float64) {
	return times(0.5, plus(c.a, c.b)), norm(minus(c.b, c.a))/2 + c.r
}

func (c capsule) touches(k cone) bool {
	if !ballTouches(c, k) {
		return false
	}
	t, s := nearest(k.axis, c.a, c.b)
	p := plus(c.a, times(s, minus(c.b, c.a)))
	gap := norm(minus(k.axis.at(max(t, 0)), p))
	// The cone is widest, along the bar, at the bar's farther end.
	far := max(dot(minus(c.a, k.axis.o), k.axis.d), dot(minus(c.b, k.axis.o), k.axis.d)) + c.r
	return gap <= c.r*math.Sqrt(1+k.slope*k.slope)+k.base+k.slope*max(far, 0)
}

// nearest returns where a line and the stretch from a to b come closest: t along
// the line, s from 0 to 1 along the stretch.
func nearest(r ray, a, b vec) (t, s float64) {
	ab, ao := minus(b, a), minus(r.o, a)
	l2, abd := norm2(ab), dot(ab, r.d)
	den := l2 - abd*abd
	if den > 1e-12*l2 {
		s = (dot(ab, ao) - abd*dot(ao, r.d)) / den
	}
	s = min(max(s, 0), 1)
	return dot(minus(plus(a, times(s, ab)), r.o), r.d), s
}

// box is a cuboid with half sizes along its axes.
type box struct {
	axes
	half vec
}

func (b box) meet(r ray, h *hit) bool {
	q := b.ray(r)
	o, d := [3]float64{q.o.X, q.o.Y, q.o.Z}, [3]float64{q.d.X, q.d.Y, q.d.Z}
	half := [3]float64{b.half.X, b.half.Y, b.half.Z}
	enter, leave, face := math.Inf(-1), math.Inf(1), 0
	for i := range 3 {
		if math.Abs(d[i]) < 1e-12 {
			if math.Abs(o[i]) > half[i] {
				return false
			}
			continue
		}
		t0, t1 := (-half[i]-o[i])/d[i], (half[i]-o[i])/d[i]
		if t0 > t1 {
			t0, t1 = t1, t0
		}
		if t0 > enter {
			enter, face = t0, i
		}
		leave = min(leave, t1)
	}
	if enter > leave || enter <= tooNear || enter >= h.t {
		return false
	}
	p := q.at(enter)
	var n [3]float64
	n[face] = -math.Copysign(1, d[face])
	h.t, h.normal, h.zone = enter, b.turnOut(vector(n)), int32(face)
	h.u, h.v = p.X, p.Y
	return true
}

func (b box) ball() (vec, float64) { return b.o, norm(b.half) }
func (b box) touches(c cone) bool  { return ballTouches(b, c) }

// triangle is one facet of a curved sheet, with the sheet's normals at its corners.
// It is seen from both sides. u, v are the sheet's coordinates at the corners.
type triangle struct {
	p, n [3]vec
	uv   [3][2]float64
}

func (f *triangle) meet(r ray, h *hit) bool {
	e1, e2 := minus(f.p[1], f.p[0]), minus(f.p[2], f.p[0])
	pv := cross(r.d, e2)
	det := dot(e1, pv)
	if math.Abs(det) < 1e-12 {
		return false
	}
	tv := minus(r.o, f.p[0])
	b := dot(tv, pv) / det
	qv := cross(tv, e1)
	c := dot(r.d, qv) / det
	t := dot(e2, qv) / det
	if b < 0 || c < 0 || b+c > 1 || t <= tooNear || t >= h.t {
		return false
	}
	a := 1 - b - c
	n := unit(plus(times(a, f.n[0]), plus(times(b, f.n[1]), times(c, f.n[2]))))
	h.zone = 0
	if dot(n, r.d) > 0 {
		n, h.zone = times(-1, n), 1
	}
	h.t, h.normal = t, n
	h.u = a*f.uv[0][0] + b*f.uv[1][0] + c*f.uv[2][0]
	h.v = a*f.uv[0][1] + b*f.uv[1][1] + c*f.uv[2][1]
	return true
}

func (f *triangle) ball() (vec, float64) {
	m := times(1./3, plus(f.p[0], plus(f.p[1], f.p[2])))
	return m, math.Sqrt(max(norm2(minus(f.p[0], m)), norm2(minus(f.p[1], m)), norm2(minus(f.p[2], m))))
}

func (f *triangle) touches(c cone) bool { return ballTouches(f, c) }
