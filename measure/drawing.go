package measure

import (
	"math"

	"rimpair/calib"
)

// overlay is what was used of one photo.
func (m *set) overlay(f *fitted, photo int) Overlay {
	var o Overlay
	v := f.scene.view(photo)
	for _, c := range m.corners {
		if c.photo != photo {
			continue
		}
		if px, ok := f.scene.corner(&c, v); ok {
			o.Corners = append(o.Corners, CornerMark{Seen: c.at, Fitted: px, Sheet: f.scene.Sheets[c.sheet].Number})
		}
	}
	for i, e := range f.adjustment.edges {
		if e.photo == photo {
			o.Edges = append(o.Edges, EdgeMark{At: e.at, Kind: e.kind, Used: math.Abs(f.residuals[i]) <= tukeyCut*e.sigma})
		}
	}
	for side := range f.scene.Wheels {
		o.Curves = append(o.Curves, m.curves(f, photo, Side(side), v)...)
	}
	return o
}

// curves are a wheel's fitted outline and rim edges in a photo, as stretches that
// can be seen.
func (m *set) curves(f *fitted, photo int, side Side, v view) []Curve {
	outline := newLocus(f.scene.wheel(photo, side), TyreOuter, 0, v)
	curves := outline.stretches(side, drawnSteps, func(ip *imagePoint) bool { return ip.radial > 0 })
	for face, edge := range m.rims[side] {
		if edge.found {
			rim := newLocus(f.scene.wheel(photo, side), RimCircle, Face(face), v)
			curves = append(curves, rim.stretches(side, drawnSteps, rimVisible(&rim))...)
		}
	}
	return curves
}

// drawnSteps is how many points a curve that is drawn on a whole photo has around the
// wheel, smallSteps one on a small picture.
const drawnSteps, smallSteps = 720, 120

// stretches are the visible parts of the curve, with so many points all around.
func (c *locus) stretches(side Side, steps int, visible func(*imagePoint) bool) []Curve {
	var list []Curve
	open := false
	for i := range steps + 1 {
		ip, ok := c.image(2 * math.Pi * float64(i) / float64(steps))
		if !ok || !visible(&ip) {
			open = false
			continue
		}
		if !open {
			list = append(list, Curve{Side: side.String(), Kind: c.kind})
			open = true
		}
		last := &list[len(list)-1]
		last.Points = append(last.Points, ip.px)
	}
	return list
}

// topView is what the view from above shows.
func (m *set) topView(f *fitted) TopView {
	top := TopView{HeightMm: m.hubHeightMm(f.scene)}
	for photo := range f.scene.Photos {
		v := f.scene.view(photo)
		top.Cameras = append(top.Cameras, PlacedCamera{Camera: v.camera, Pose: v.pose})
	}
	for side := range top.Rims {
		front, rear := m.tapePoints(f.scene, Side(side))
		top.Rims[side] = RimLine{Front: [2]float64{front.X, front.Y}, Rear: [2]float64{rear.X, rear.Y}}
	}
	return top
}

// corner projects a sheet's corner into a view.
func (s *Scene) corner(o *cornerObservation, v view) (calib.Point, bool) {
	sheet := &s.Sheets[o.sheet]
	return v.camera.Project(v.pose.Apply(sheet.Pose.Apply(sheet.onPaper(o.index))))
}
