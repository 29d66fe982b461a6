package measure

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// exampleScene is a vehicle of an invented scenario: two sheets on a diagonal,
// seen from the front and the rear.
func exampleScene() *Scene {
	wheel := func(side Side, x, heading, tilt float64) Wheel {
		w := Wheel{
			Centre: r3.Vec{X: x, Y: -400, Z: 248}, HeadingRad: heading, TiltRad: tilt, Ring: 227, Tube: 23,
			RimHeadingRad: 0.001, RimTiltRad: -0.0005, RimForward: 0.2, RimUp: -0.1, Lip: 0.9,
		}
		for face := range w.Rim {
			w.Rim[face] = Circle{Radius: 209, Offset: Face(face).sign() * 13}
		}
		return w
	}
	return &Scene{
		GapShift: -0.3,
		Cameras:  []calib.Camera{{F: 3050, Cx: 2010, Cy: 1520, K1: 0.02, K2: -0.03, P1: 3e-4, P2: -2e-4}},
		Photos: []PhotoState{
			{Pose: lookAt(r3.Vec{X: -330, Y: 800, Z: 1200}, r3.Vec{X: -320, Y: -350, Z: 150}, r3.Vec{Y: 0.1}), Zoom: 0.001, ShiftX: 2, ShiftY: -3, EdgeOffset: [2]float64{0.2, -0.1}},
			{Pose: lookAt(r3.Vec{X: -300, Y: -1800, Z: 1500}, r3.Vec{X: -320, Y: -450, Z: 150}, r3.Vec{Y: 0.1}), Zoom: -0.001, ShiftX: -1, ShiftY: 1, EdgeOffset: [2]float64{0.1, 0.1}},
		},
		Sheets: []SheetState{
			{Number: 1, Pose: calib.Pose{R: calib.RotFromVector(r3.Vec{X: 0.002, Y: -0.001}), T: r3.Vec{Z: 0.2}}, ScaleX: 1.001, ScaleY: 0.999, Warp: [3]float64{0.2, 0.1, -0.1}},
			{Number: 2, Pose: calib.Pose{R: calib.RotFromVector(r3.Vec{X: -0.001, Y: 0.001, Z: 0.05}), T: r3.Vec{X: -640, Y: -800, Z: -0.1}}, ScaleX: 0.998, ScaleY: 1.001, Warp: [3]float64{-0.1, 0.2, 0.1}},
		},
		Wheels: [2]Wheel{wheel(Left, -730, 0.01, -0.03), wheel(Right, 80, 0.015, 0.02)},
	}
}

// movedScene is exampleScene with the vehicle rolled and steered before the second
// photo.
func movedScene() *Scene {
	s := exampleScene()
	s.Photos[1].State = 1
	s.Changes = [][2]Change{{}, {
		{Move: r3.Vec{X: 1, Y: 12, Z: 0.2}, HeadingRad: 0.01, TiltRad: -0.001, TurnRad: 0.7},
		{Move: r3.Vec{X: -1, Y: 14, Z: -0.3}, HeadingRad: 0.02, TiltRad: 0.002, TurnRad: 0.7},
	}}
	return s
}

// exampleKnowledge is what is known of exampleScene beforehand.
func exampleKnowledge() knowledge {
	return knowledge{
		cameras: []cameraPrior{{camera: calib.Camera{F: 3000, Cx: 2015.5, Cy: 1511.5}, sigmas: exifSigmas(90, 40), width: 4032, motion: 1}},
		rims:    [2]float64{203, 203}, scale: [2]float64{1, 1}, scaleSigma: printSigma,
	}
}

// observe projects what a scene shows, with an error from noise for each coordinate.
func observe(s *Scene, noise func() float64) (corners []cornerObservation, edges []edgeObservation) {
	return observeEvery(1, s, func(source) float64 { return noise() })
}

// observeEvery takes one of so many points; the noise may depend on their source.
func observeEvery(every int, s *Scene, noise func(source) float64) (corners []cornerObservation, edges []edgeObservation) {
	for photo := range s.Photos {
		v := s.view(photo)
		for sheet := range s.Sheets {
			for i := 0; i < calib.SheetCorners; i += every {
				state := &s.Sheets[sheet]
				px, ok := v.camera.Project(v.pose.Apply(state.Pose.Apply(state.onPaper(i))))
				if ok {
					px.X += 0.1 * noise(sourceCorners)
					px.Y += 0.1 * noise(sourceCorners)
					corners = append(corners, cornerObservation{photo: photo, sheet: sheet, index: i, at: px, sigma: 0.1})
				}
			}
		}
		for side := range s.Wheels {
			for _, kind := range []EdgeKind{TyreOuter, RimCircle} {
				face := Side(side).inboard()
				c := newLocus(s.wheel(photo, Side(side)), kind, face, v)
				for u := 0.05; u < 2*math.Pi; u += 0.1 * float64(every) {
					ip, ok := c.image(u)
					if !ok {
						continue
					}
					o := edgeObservation{photo: photo, side: Side(side), kind: kind, face: face, u: u + 0.003, sigma: 0.3, factor: 1}
					if kind == RimCircle {
						o.narrow = c.narrowing(&ip)
					}
					along := s.Photos[photo].EdgeOffset[o.offsetIndex()] + s.GapShift*o.narrow + 0.3*noise(o.source())
					o.at = calib.Point{X: ip.px.X + along*ip.nx, Y: ip.px.Y + along*ip.ny}
					edges = append(edges, o)
				}
			}
		}
	}
	return corners, edges
}

func everything() free {
	return free{
		cameras: true, poses: true, tyres: [2]bool{true, true}, rims: [2]bool{true, true},
		faces:   [2][2]bool{Left: {FaceRight: true}, Right: {FaceLeft: true}},
		changes: true,
	}
}

// Every derivative of every observation and prior against central differences.
func TestAdjustmentDerivatives(t *testing.T) {
	s := movedScene()
	noise := 0.0
	corners, edges := observe(s, func() float64 { noise = math.Mod(noise+0.618, 1); return 4 * (noise - 0.5) })
	a := adjustment{layout: newLayout(s, everything()), corners: corners, edges: edges}
	k := exampleKnowledge()
	a.priors = k.priors(s, &a.layout)
	requireDerivatives(t, a.problem(), s, 1e-4)
}
