package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// cornerObservation is a sheet corner seen in a photo.
type cornerObservation struct {
	photo, sheet int // indices into the scene
	index        int // corner on the sheet
	at           calib.Point
	sigma        float64 // px
}

// edgeObservation is a point on the edge of a wheel seen in a photo.
type edgeObservation struct {
	photo int
	side  Side
	kind  EdgeKind
	face  Face // of RimCircle
	at    calib.Point
	u     float64 // about where on the curve
	edge  vision.Edge
	sigma float64 // px
	// factor is how many times as uncertain it is as a plain point of its curve; see trust.
	factor float64
	// narrow is how narrow the gap beside a rim's edge is, 0 to 1; see narrowing.
	narrow float64
	// seeming is how far outward, in px, a rim's edge seems to lie for its light and for edges
	// beside it; see shading and drawnAside.
	seeming float64
}

// seen is the observation of an edge that crosses a probe at about u of its curve.
func (o edgeObservation) seen(p *vision.Probe, u float64, e vision.Edge) edgeObservation {
	o.u, o.edge = u, e
	o.at = p.Beside(e.Offset)
	return o
}

func (o *edgeObservation) offsetIndex() int {
	if o.kind == RimCircle {
		return 1
	}
	return 0
}

func (o *edgeObservation) source() source {
	if o.kind == RimCircle {
		return sourceRimEdges
	}
	return sourceTyreEdges
}

// rowBuilder collects the derivatives of one observation.
type rowBuilder struct {
	cols   []int
	derivs []float64
}

func (b *rowBuilder) reset() { b.cols, b.derivs = b.cols[:0], b.derivs[:0] }

func (b *rowBuilder) add(column int, deriv float64) {
	if column != fixed {
		b.cols = append(b.cols, column)
		b.derivs = append(b.derivs, deriv)
	}
}

// addVec adds three columns that each move the same vector by one component.
func (b *rowBuilder) addVec(columns []int, deriv r3.Vec) {
	b.add(columns[0], deriv.X)
	b.add(columns[1], deriv.Y)
	b.add(columns[2], deriv.Z)
}

// addPlace adds a wheel's centre, heading and tilt, the first columns of a wheel and
// all of a change.
func (b *rowBuilder) addPlace(at []int, g r3.Vec, byHeading, byTilt float64) {
	b.addVec(at, g)
	b.add(at[wheelHeading], byHeading)
	b.add(at[wheelTilt], byTilt)
}

// addCamera adds how the picture coordinate g·π moves with the photo's camera and
// pose. byPoint is the derivative of that coordinate by the point in camera
// coordinates; turned is the point less the pose's T.
func (b *rowBuilder) addCamera(l *layout, s *Scene, photo int, gx, gy float64, j *calib.Jacobian, turned r3.Vec) {
	p := &s.Photos[photo]
	var in [calib.NumIntrinsics]float64
	for k := range in {
		in[k] = gx*j.Intrinsics[0][k] + gy*j.Intrinsics[1][k]
	}
	camera, at := l.cameras[p.Camera], l.photos[photo]
	b.add(camera[0], in[0]*(1+p.Zoom))
	for k := 1; k < len(in); k++ {
		b.add(camera[k], in[k])
	}
	b.add(at[photoZoom], in[0]*s.Cameras[p.Camera].F)
	b.add(at[photoZoom+1], in[1])
	b.add(at[photoZoom+2], in[2])
	byPoint := combine(gx, gy, j)
	b.addVec(at[photoTurn:], r3.Cross(turned, byPoint)) // ∂(w×v) = v×g for the scalar product with g
	b.addVec(at[photoMove:], byPoint)
}

func combine(gx, gy float64, j *calib.Jacobian) r3.Vec {
	return r3.Vec{
		X: gx*j.Point[0][0] + gy*j.Point[1][0],
		Y: gx*j.Point[0][1] + gy*j.Point[1][1],
		Z: gx*j.Point[0][2] + gy*j.Point[1][2],
	}
}

// cornerRows emits both coordinates of a corner.
func (a *adjustment) cornerRows(s *Scene, views []view, o *cornerObservation, b *rowBuilder, emit func(Row)) bool {
	v := &views[o.photo]
	sheet := &s.Sheets[o.sheet]
	layoutPoint := sheet.cornerMm(o.index)
	turnedSheet := sheet.Pose.R.Apply(sheet.onPaper(o.index))
	turned := v.pose.R.Apply(r3.Add(turnedSheet, sheet.Pose.T))
	px, jac, ok := v.camera.ProjectJacobian(r3.Add(turned, v.pose.T))
	if !ok {
		return false
	}
	toScene := v.pose.R.Transpose()
	toSheet := sheet.Pose.R.Transpose()
	shape := warpShape(layoutPoint)
	at := a.layout.sheets[o.sheet]
	for axis, residual := range [2]float64{px.X - o.at.X, px.Y - o.at.Y} {
		gx, gy := 1/o.sigma, 0.0
		if axis == 1 {
			gx, gy = 0, 1/o.sigma
		}
		b.reset()
		b.addCamera(&a.layout, s, o.photo, gx, gy, &jac, turned)
		inScene := toScene.Apply(combine(gx, gy, &jac))
		b.addVec(at[sheetTurn:], r3.Cross(turnedSheet, inScene))
		b.addVec(at[sheetMove:], inScene)
		onSheet := toSheet.Apply(inScene)
		b.add(at[sheetScale], onSheet.X*layoutPoint.X)
		b.add(at[sheetScale+1], onSheet.Y*layoutPoint.Y)
		for k, lift := range shape {
			b.add(at[sheetWarp+k], onSheet.Z*lift)
		}
		if bumps := a.layout.bumps[o.sheet]; bumps != nil {
			b.addVec(bumps[o.index][:], onSheet)
		}
		emit(Row{Cols: b.cols, Derivs: b.derivs, Residual: residual / o.sigma, Loss: a.cornerLoss, Group: int(sourceCorners), Sigma: o.sigma, Reserve: reserve})
	}
	return true
}

// edgeDistance is how far outward of its curve an edge lies, in px, less what makes it seem to.
func (s *Scene) edgeDistance(o *edgeObservation, ip *imagePoint) float64 {
	seeming := s.Photos[o.photo].EdgeOffset[o.offsetIndex()] + s.GapShift*o.narrow + o.seeming
	return (o.at.X-ip.px.X)*ip.nx + (o.at.Y-ip.px.Y)*ip.ny - seeming
}

// edgeRow emits the distance of an edge point from its curve.
func (a *adjustment) edgeRow(s *Scene, c *locus, o *edgeObservation, b *rowBuilder, emit func(Row)) bool {
	ip, ok := c.nearest(o.at, o.u)
	if !ok {
		return false
	}
	distance := s.edgeDistance(o, &ip)
	gx, gy := -ip.nx/o.sigma, -ip.ny/o.sigma
	b.reset()
	b.addCamera(&a.layout, s, o.photo, gx, gy, &ip.jac, ip.inFrame)
	b.add(a.layout.photos[o.photo][photoEdge+o.offsetIndex()], -1/o.sigma)
	b.add(a.layout.gap[0], -o.narrow/o.sigma)
	a.addWheel(c, &ip, o, s.Photos[o.photo].State, c.pose.R.Transpose().Apply(combine(gx, gy, &ip.jac)), b)
	emit(Row{Cols: b.cols, Derivs: b.derivs, Residual: distance / o.sigma, Loss: a.edgeLoss, Group: int(o.source()), Sigma: o.sigma, Reserve: a.reserveOf(s, o)})
	return true
}

// addWheel adds how the observed point moves with the wheel; g is the derivative
// of the residual by the point in the scene.
func (a *adjustment) addWheel(c *locus, ip *imagePoint, o *edgeObservation, state int, g r3.Vec, b *rowBuilder) {
	at := a.layout.wheels[o.side]
	body := ip.body
	if o.kind == RimCircle { // in the rim's axes, about the tyre's centre
		shift := c.wheel.rimShift()
		body.forward += shift.forward
		body.up += shift.up
	}
	byHeading, byTilt := r3.Dot(g, c.axes.byHeading(body)), r3.Dot(g, c.axes.byTilt(body))
	b.addPlace(at[:], g, byHeading, byTilt)
	if state > 0 {
		b.addPlace(a.layout.changes[state][o.side][:], g, byHeading, byTilt)
	}
	sinU, cosU := math.Sincos(ip.u)
	e := c.axes.spoke(sinU, cosU)
	if o.kind != RimCircle {
		b.add(at[wheelRing], r3.Dot(g, e))
		b.add(at[wheelTube], r3.Dot(g, ip.outward))
		return
	}
	sinTurn, cosTurn := math.Sincos(c.wheel.turnRad)
	byForward, byUp := r3.Dot(g, c.axes.forward), r3.Dot(g, c.axes.up)
	b.add(at[wheelRim], byHeading*cosTurn-byTilt*sinTurn)
	b.add(at[wheelRim+1], byHeading*sinTurn+byTilt*cosTurn)
	b.add(at[wheelRim+2], byForward*cosTurn-byUp*sinTurn)
	b.add(at[wheelRim+3], byForward*sinTurn+byUp*cosTurn)
	b.add(at[wheelLip], r3.Dot(g, ip.outward))
	circle := wheelCircles + 2*int(o.face)
	b.add(at[circle], r3.Dot(g, e))
	b.add(at[circle+1], r3.Dot(g, c.axes.axle))
}
