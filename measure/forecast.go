package measure

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// This file forecasts what a further photo, sheet or wheel position would be worth:
// the covariance of the adjustment with observations that are not made yet. None of
// them needs a value, only a place and an uncertainty.

// viewpoint is a place to take a photo from, in mm from the middle between the
// wheels at floor height, along the vehicle.
type viewpoint struct {
	code string
	eye  r3.Vec
}

// viewpoints that a standing person reaches.
var viewpoints = [...]viewpoint{
	{"front", r3.Vec{Y: 1150, Z: 1200}},
	{"rear", r3.Vec{Y: -1350, Z: 1550}},
	{"above", r3.Vec{Y: 60, Z: 1800}},
	{"front_left", r3.Vec{X: -650, Y: 1050, Z: 1200}},
	{"front_right", r3.Vec{X: 650, Y: 1050, Z: 1200}},
	{"rear_left", r3.Vec{X: -600, Y: -1150, Z: 1300}},
	{"rear_right", r3.Vec{X: 600, Y: -1150, Z: 1300}},
}

// What an ordinary photo of the kind brings.
const (
	forecastCornerPx = 0.1
	forecastTyrePx   = 0.25 // a point each 10 px, of what half may be hidden
	forecastRimPx    = 1.0
	forecastHidden   = 0.6 // share of a rear sheet's and a wheel's points that other parts leave free
	worthTelling     = 0.95
)

// advice is what would narrow the interval of total toe most, best first.
func (m *set) advice(f *fitted, rim Quantity, runout float64) []Advice {
	now := math.Hypot(rim.StandardUncertainty, runout)
	halfWidth := func(u float64) float64 { return coverage95 * u }
	// Half a turn on, the run-out changes sign; a second set of the same photos
	// halves the variance of the rest.
	var list []Advice
	if m.positions == nil {
		list = append(list, Advice{
			Action:               "half_turn",
			Message:              Message{Code: "half_turn"},
			PredictedHalfWidthMm: halfWidth(rim.StandardUncertainty / math.Sqrt2),
		})
	}
	var settled [len(viewpoints)]bool
	var us [len(viewpoints)]float64
	each(len(viewpoints), func(i int) { us[i], settled[i] = m.forecast(f, &viewpoints[i], false) })
	for i, p := range viewpoints {
		if settled[i] {
			list = append(list, Advice{Action: "photo", Message: Message{Code: "photo_" + p.code}, PredictedHalfWidthMm: halfWidth(math.Hypot(us[i], runout))})
		}
	}
	if len(f.scene.Sheets) == 1 {
		if u, ok := m.forecast(f, nil, true); ok {
			list = append(list, Advice{
				Action:               "sheet",
				Message:              Message{Code: "second_sheet"},
				PredictedHalfWidthMm: halfWidth(math.Hypot(u, runout)),
			})
		}
	}
	list = slices.DeleteFunc(list, func(a Advice) bool { return a.PredictedHalfWidthMm > worthTelling*halfWidth(now) })
	slices.SortStableFunc(list, func(a, b Advice) int { return cmp.Compare(a.PredictedHalfWidthMm, b.PredictedHalfWidthMm) })
	return list
}

// forecast is the standard uncertainty of total toe of the rims with one photo or a
// second sheet more.
func (m *set) forecast(f *fitted, from *viewpoint, sheet bool) (u float64, ok bool) {
	s := f.scene.clone()
	a := f.adjustment
	a.cornerLoss, a.edgeLoss = nil, nil
	a.corners = slices.Clone(a.corners)
	a.edges = slices.Clone(a.edges)
	middle, forward, right := s.frame()
	if sheet {
		// Across the axle from the first, on the other side of the vehicle.
		first := s.Sheets[0].Pose.T
		s.Sheets = append(s.Sheets, newSheet(s.Sheets[0].Number+1, calib.Pose{
			R: s.Sheets[0].Pose.R, T: r3.Sub(r3.Scale(2, r3.Vec{X: middle.X, Y: middle.Y}), first),
		}))
		for photo := range s.Photos {
			a.corners = append(a.corners, seenCorners(s, photo, len(s.Sheets)-1, m.size(photo))...)
		}
	}
	if from != nil {
		at := r3.Add(r3.Vec{X: middle.X, Y: middle.Y, Z: from.eye.Z}, r3.Add(r3.Scale(from.eye.X, right), r3.Scale(from.eye.Y, forward)))
		photo := len(s.Photos)
		s.Photos = append(s.Photos, PhotoState{Camera: s.Photos[0].Camera, Pose: lookAt(at, r3.Vec{X: middle.X, Y: middle.Y, Z: 150}, forward)})
		for i := range s.Sheets {
			a.corners = append(a.corners, seenCorners(s, photo, i, m.size(0))...)
		}
		for side := range s.Wheels {
			a.edges = append(a.edges, m.seenEdges(s, photo, Side(side))...)
		}
	}
	a.layout = newLayout(s, f.freed)
	a.priors = offsetsBelieved.instead(m.knowledge.priors(s, &a.layout), s, &a.layout)
	covariance, err := Covariance(a.problem(), s)
	if err != nil {
		return 0, false
	}
	then := fitted{scene: s, adjustment: a, solution: Solution[*Scene]{Covariance: covariance}}
	return f.inflation() * math.Sqrt(variance(then.covariance(), then.gradient(m.totalToeMm))), true
}

// frame is the middle between the wheels, and the vehicle's forward and right.
func (s *Scene) frame() (middle, forward, right r3.Vec) {
	middle = r3.Scale(0.5, r3.Add(s.Wheels[Left].Centre, s.Wheels[Right].Centre))
	heading := (s.Wheels[Left].HeadingRad + s.Wheels[Right].HeadingRad) / 2
	a := newAxes(heading, 0)
	return middle, a.forward, a.axle
}

// size of a photo in pixels.
func (m *set) size(photo int) [2]float64 {
	g := m.inputs[photo].Photo.Gray
	return [2]float64{float64(g.Width), float64(g.Height)}
}

// lookAt is the pose of a camera at eye that looks at target, its picture's up
// toward the given direction as far as that goes.
func lookAt(eye, target, up r3.Vec) calib.Pose {
	sight := r3.Unit(r3.Sub(target, eye))
	right := r3.Unit(r3.Cross(sight, r3.Add(up, r3.Vec{Z: 1})))
	down := r3.Cross(sight, right)
	rot := calib.Rot{{right.X, right.Y, right.Z}, {down.X, down.Y, down.Z}, {sight.X, sight.Y, sight.Z}}
	return calib.Pose{R: rot, T: r3.Scale(-1, rot.Apply(eye))}
}

func seenCorners(s *Scene, photo, sheet int, size [2]float64) []cornerObservation {
	var list []cornerObservation
	v := s.view(photo)
	for i := range calib.SheetCorners {
		o := cornerObservation{photo: photo, sheet: sheet, index: i, sigma: forecastCornerPx / math.Sqrt(forecastHidden)}
		px, ok := s.corner(&o, v)
		if ok && px.X > 0 && px.Y > 0 && px.X < size[0] && px.Y < size[1] {
			o.at = px
			list = append(list, o)
		}
	}
	return list
}

func (m *set) seenEdges(s *Scene, photo int, side Side) []edgeObservation {
	var list []edgeObservation
	v := s.view(photo)
	add := func(kind EdgeKind, face Face, sigma float64, visible func(*locus) func(*imagePoint) bool) {
		c := newLocus(s.wheel(photo, side), kind, face, v)
		for _, ip := range m.probes(&c, 0, probeSpacingPx, visible(&c)) {
			list = append(list, edgeObservation{photo: photo, side: side, kind: kind, face: face, at: ip.px, u: ip.u, sigma: sigma / math.Sqrt(forecastHidden)})
		}
	}
	add(TyreOuter, 0, forecastTyrePx, func(*locus) func(*imagePoint) bool { return outlineVisible })
	for face, edge := range m.rims[side] {
		if edge.found {
			add(RimCircle, Face(face), forecastRimPx, rimVisible)
		}
	}
	return list
}
