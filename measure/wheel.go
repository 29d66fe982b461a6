package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Side tells the front wheels apart.
type Side int

// The front wheels.
const (
	Left Side = iota
	Right
)

func (s Side) String() string { return [...]string{"left", "right"}[s] }

// sign is +1 where a positive heading is toe-in.
func (s Side) sign() float64 { return [...]float64{-1, 1}[s] }

// Face tells the two faces of a rim apart by the end of the axle they look to.
type Face int

// The faces of a rim.
const (
	FaceLeft Face = iota
	FaceRight
)

func (f Face) sign() float64 { return [...]float64{-1, 1}[f] }

// Inboard is the face that looks to the vehicle's middle.
func (s Side) inboard() Face { return [...]Face{FaceRight, FaceLeft}[s] }

// Wheel is a front wheel as a body of revolution; mm and radians.
type Wheel struct {
	Centre     r3.Vec  // of the tyre
	HeadingRad float64 // ψ of the tyre's axle
	TiltRad    float64 // γ of the tyre's axle
	Ring, Tube float64 // R and r of the tyre's torus

	// The rim against the tyre on it, before the wheel was turned by turnRad.
	RimHeadingRad, RimTiltRad float64   // rim's ψ and γ less the tyre's
	RimForward, RimUp         float64   // rim's centre less the tyre's
	Rim                       [2]Circle // the middle of the lip on either face
	Lip                       float64   // radius of the lips' rounding
	turnRad                   float64   // forward, against the first state
}

// Circle is a circle about the rim's axis.
type Circle struct{ Radius, Offset float64 } // Offset along the axle from the rim's centre

// axes are the body's directions and what turns them.
type axes struct {
	axle, forward, up r3.Vec
	sinTilt, cosTilt  float64
}

func newAxes(headingRad, tiltRad float64) axes {
	sinPsi, cosPsi := math.Sincos(headingRad)
	sinGamma, cosGamma := math.Sincos(tiltRad)
	return axes{
		axle:    r3.Vec{X: cosPsi * cosGamma, Y: sinPsi * cosGamma, Z: sinGamma},
		forward: r3.Vec{X: -sinPsi, Y: cosPsi},
		up:      r3.Vec{X: -cosPsi * sinGamma, Y: -sinPsi * sinGamma, Z: cosGamma},
		sinTilt: sinGamma, cosTilt: cosGamma,
	}
}

// bodyPoint is a point fixed to a wheel: along forward, up and axle.
type bodyPoint struct{ forward, up, axle float64 }

func (a axes) place(centre r3.Vec, p bodyPoint) r3.Vec {
	return r3.Vec{
		X: centre.X + p.forward*a.forward.X + p.up*a.up.X + p.axle*a.axle.X,
		Y: centre.Y + p.forward*a.forward.Y + p.up*a.up.Y + p.axle*a.axle.Y,
		Z: centre.Z + p.forward*a.forward.Z + p.up*a.up.Z + p.axle*a.axle.Z,
	}
}

// spoke is the direction e(u) from the axle outward.
func (a axes) spoke(sinU, cosU float64) r3.Vec {
	return r3.Vec{
		X: cosU*a.forward.X + sinU*a.up.X,
		Y: cosU*a.forward.Y + sinU*a.up.Y,
		Z: cosU*a.forward.Z + sinU*a.up.Z,
	}
}

// byHeading is how a body point moves when the heading grows.
func (a axes) byHeading(p bodyPoint) r3.Vec {
	return a.place(r3.Vec{}, bodyPoint{
		forward: p.axle*a.cosTilt - p.up*a.sinTilt,
		up:      p.forward * a.sinTilt,
		axle:    -p.forward * a.cosTilt,
	})
}

// byTilt is how a body point moves when the tilt grows.
func (a axes) byTilt(p bodyPoint) r3.Vec {
	return a.place(r3.Vec{}, bodyPoint{up: p.axle, axle: -p.up})
}

func (w *Wheel) tyreAxes() axes { return newAxes(w.HeadingRad, w.TiltRad) }

func (w *Wheel) rimAxes() axes { return newAxes(w.rimHeadingRad(), w.rimTiltRad()) }

// rolled is where something fixed to the wheel, with these components forward and up,
// has got to once the wheel has turned forward: what was on top is then in front. How
// an axis leans, with its heading and tilt as components, turns alike.
func rolled(forward, up, turnRad float64) (float64, float64) {
	sin, cos := math.Sincos(turnRad)
	return forward*cos + up*sin, up*cos - forward*sin
}

// rimShift is the rim's centre less the tyre's.
func (w *Wheel) rimShift() bodyPoint {
	forward, up := rolled(w.RimForward, w.RimUp, w.turnRad)
	return bodyPoint{forward: forward, up: up}
}

// rimCentre is where the rim's axis crosses its middle plane.
func (w *Wheel) rimCentre(rim axes) r3.Vec { return rim.place(w.Centre, w.rimShift()) }
