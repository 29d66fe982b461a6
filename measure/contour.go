package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// contourPoint is a place on a wheel's circle or apparent contour.
type contourPoint struct {
	body    bodyPoint
	at      r3.Vec  // in the scene
	outward r3.Vec  // out of the body (contours) or away from the axis (circles)
	radial  float64 // cosφ: the tube's outward direction along the wheel's radius
}

// locus is one circle or contour of one wheel in one photo, as a function of the
// angle u around the wheel (0 forward, quarter turn up).
type locus struct {
	wheel  *Wheel
	kind   EdgeKind
	face   Face // of RimCircle
	axes   axes
	centre r3.Vec
	eye    r3.Vec // the camera's place
	camera calib.Camera
	pose   calib.Pose
}

func newLocus(w *Wheel, kind EdgeKind, face Face, view view) locus {
	c := locus{wheel: w, kind: kind, face: face, eye: view.eye, camera: view.camera, pose: view.pose}
	if kind == RimCircle {
		c.axes = w.rimAxes()
		c.centre = w.rimCentre(c.axes)
	} else {
		c.axes = w.tyreAxes()
		c.centre = w.Centre
	}
	return c
}

// inCamera is the curve in camera coordinates, in which its points need not be turned one by one.
func (c locus) inCamera() locus {
	r := c.pose.R
	c.axes.axle, c.axes.forward, c.axes.up = r.Apply(c.axes.axle), r.Apply(c.axes.forward), r.Apply(c.axes.up)
	c.centre, c.eye, c.pose = c.pose.Apply(c.centre), r3.Vec{}, calib.Pose{R: calib.Identity()}
	return c
}

// shape is the torus whose contour the curve is: of the tyre, or of the rim's lip.
func (c *locus) shape() (ring, tube, offset float64) {
	if c.kind == RimCircle {
		rim := c.wheel.Rim[c.face]
		return rim.Radius, c.wheel.Lip, rim.Offset
	}
	return c.wheel.Ring, c.wheel.Tube, 0
}

// point returns the locus's point at angle u; ok is false where it has none.
func (c *locus) point(u float64) (p contourPoint, ok bool) { return c.pointAt(math.Sincos(u)) }

// pointAt is point by the angle's sine and cosine.
func (c *locus) pointAt(sinU, cosU float64) (p contourPoint, ok bool) {
	e := c.axes.spoke(sinU, cosU)
	ring, tube, offset := c.shape()
	q := r3.Add(c.centre, r3.Add(r3.Scale(ring, e), r3.Scale(offset, c.axes.axle)))
	toQ := r3.Sub(q, c.eye)
	along, across := r3.Dot(e, toQ), r3.Dot(c.axes.axle, toQ)
	reach2 := along*along + across*across
	if reach2 <= tube*tube {
		return p, false // the camera is inside the tube's cylinder
	}
	// cosφ = (−r·along ∓ across·√(reach²−r²)) / reach², and sinφ alike; the outer
	// contour is the solution farther from the axle.
	root := math.Sqrt(reach2 - tube*tube)
	if (across > 0) == (c.kind != TyreInner) {
		root = -root
	}
	cosPhi := (-tube*along - across*root) / reach2
	sinPhi := (-tube*across + along*root) / reach2
	p.radial = cosPhi
	radius := ring + tube*cosPhi
	p.body = bodyPoint{radius * cosU, radius * sinU, offset + tube*sinPhi}
	p.outward = r3.Add(r3.Scale(cosPhi, e), r3.Scale(sinPhi, c.axes.axle))
	p.at = r3.Add(q, r3.Scale(tube, p.outward))
	return p, true
}

// project returns the picture of the locus's point at u.
func (c *locus) project(u float64) (calib.Point, bool) {
	p, ok := c.point(u)
	if !ok {
		return calib.Point{}, false
	}
	return c.camera.Project(c.pose.Apply(p.at))
}

// tangent is how the locus's point at u moves per radian of u: around the axle, and
// around the tube so that the line of sight keeps grazing it. With t around the axle, w
// around the tube and s along the line of sight, outward·s = 0 all along makes
// dφ/du = −cosφ t·s / w·s.
func (c *locus) tangent(p *contourPoint, sinU, cosU float64) r3.Vec {
	ring, tube, _ := c.shape()
	t := c.axes.spoke(cosU, -sinU)
	w := r3.Cross(p.outward, t)
	sight := r3.Sub(p.at, c.eye)
	byPhi := -p.radial * r3.Dot(t, sight) / r3.Dot(w, sight)
	return r3.Add(r3.Scale(ring+tube*p.radial, t), r3.Scale(tube*byPhi, w))
}

// imagePoint is a locus's point in the picture.
type imagePoint struct {
	contourPoint
	u       float64
	px      calib.Point
	nx, ny  float64 // unit normal, along outward
	dx, dy  float64 // pixels per radian of u
	speed   float64 // the length of (dx, dy)
	jac     calib.Jacobian
	inFrame r3.Vec // in camera coordinates, less the camera pose's T
}

// image is the locus's point at u with its normal.
func (c *locus) image(u float64) (ip imagePoint, ok bool) {
	ip.u = u
	sinU, cosU := math.Sincos(u)
	if ip.contourPoint, ok = c.pointAt(sinU, cosU); !ok {
		return ip, false
	}
	ip.inFrame = c.pose.R.Apply(ip.at)
	if ip.px, ip.jac, ok = c.camera.ProjectJacobian(r3.Add(ip.inFrame, c.pose.T)); !ok {
		return ip, false
	}
	along := c.pose.R.Apply(c.tangent(&ip.contourPoint, sinU, cosU))
	ip.dx, ip.dy = rowDot(ip.jac.Point[0], along), rowDot(ip.jac.Point[1], along)
	if ip.speed = math.Hypot(ip.dx, ip.dy); ip.speed == 0 {
		return ip, false
	}
	ip.nx, ip.ny = ip.dy/ip.speed, -ip.dx/ip.speed
	out := c.pose.R.Apply(ip.outward)
	if ip.nx*rowDot(ip.jac.Point[0], out)+ip.ny*rowDot(ip.jac.Point[1], out) < 0 {
		ip.nx, ip.ny = -ip.nx, -ip.ny
	}
	return ip, true
}

// nearestRad is how near the angle of the nearest point is found; of a curve of 1000 px
// it leaves the distance right to 1e-7 px.
const nearestRad = 1e-5

// nearest finds the curve's point nearest to p, starting at angle u.
func (c *locus) nearest(p calib.Point, u float64) (ip imagePoint, ok bool) {
	for range 5 {
		if ip, ok = c.image(u); !ok {
			return imagePoint{}, false
		}
		step := ((p.X-ip.px.X)*ip.dx + (p.Y-ip.px.Y)*ip.dy) / (ip.speed * ip.speed)
		if math.Abs(step) < nearestRad {
			break
		}
		u += max(-0.1, min(0.1, step))
	}
	return ip, true
}

// curvature of the curve's picture at ip in 1/px, positive when it bends toward the normal.
func (c *locus) curvature(ip *imagePoint) float64 {
	const span = 5.0 // px to either side
	du := span / ip.speed
	before, ok1 := c.project(ip.u - du)
	after, ok2 := c.project(ip.u + du)
	if !ok1 || !ok2 {
		return 0
	}
	sagitta := ((before.X+after.X)/2-ip.px.X)*ip.nx + ((before.Y+after.Y)/2-ip.px.Y)*ip.ny
	return 2 * sagitta / (span * span)
}

func rowDot(row [3]float64, v r3.Vec) float64 {
	return row[0]*v.X + row[1]*v.Y + row[2]*v.Z
}
