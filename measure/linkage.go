package measure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file solves steering linkages exactly, in space.
//
// A wheel's carrier turns about its kingpin, the handlebar about its own axis. A
// point X fixed to a body whose axis passes F along the unit vector k stands, when
// the body has turned by θ, at F + R(k, θ)(X − F) and moves by k × (X − F) for each
// radian (Rodrigues' formula). A rod keeps the distance of its ends' middles:
//
//	|A(θ) − B(θ)| = length,
//
// one equation a rod. Lengths follow from a pose at once. The pose that lengths
// leave open is solved for: both wheels' angles, from two rods with the handlebar
// held, or from one rod with the wheels' mean heading held. In a plane one rod
// between two arms is the four-bar linkage of Freudenstein's equation.

// Body is a part of a steering linkage that turns about an axis.
type Body int

// The bodies of a steering linkage.
const (
	LeftCarrier Body = iota // the left wheel's, on its kingpin
	RightCarrier
	Handlebar // or the central arm that it turns
	numBodies
)

// Pivot is the axis of a body: a point on it and its direction, a unit vector upward.
type Pivot struct{ Foot, Axis r3.Vec }

// RodEnd is the middle of a rod end's joint, where it is in the zero pose.
type RodEnd struct {
	Body Body
	At   r3.Vec
}

// Rod joins two bodies.
type Rod [2]RodEnd

// PoseRad is how far each body has turned from where the linkage is described, seen
// from above against the clock: straight ahead without toe.
type PoseRad [numBodies]float64

// Linkage is a steering linkage of one rod between the wheels or of two rods.
type Linkage struct {
	Pivots [numBodies]Pivot
	Axles  [2]r3.Vec // directions of the wheels' axles in the zero pose, to the vehicle's right
	Rods   []Rod
}

// ErrLinkage says that no pose of the linkage fits.
var ErrLinkage = errors.New("the steering linkage cannot stand like this")

// turned is a vector after the body has turned.
func (l *Linkage) turned(b Body, v r3.Vec, pose PoseRad) r3.Vec {
	return r3.NewRotation(pose[b], l.Pivots[b].Axis).Rotate(v)
}

// place is where a rod end stands.
func (l *Linkage) place(e RodEnd, pose PoseRad) r3.Vec {
	foot := l.Pivots[e.Body].Foot
	return r3.Add(foot, l.turned(e.Body, r3.Sub(e.At, foot), pose))
}

// LengthsMm are the rods' lengths in a pose.
func (l *Linkage) LengthsMm(pose PoseRad) []float64 {
	lengths := make([]float64, len(l.Rods))
	for i, rod := range l.Rods {
		lengths[i] = r3.Norm(r3.Sub(l.place(rod[1], pose), l.place(rod[0], pose)))
	}
	return lengths
}

// HeadingRad of a wheel's rolling direction, against the clock from above.
func (l *Linkage) HeadingRad(side Side, pose PoseRad) float64 {
	a := l.turned(Body(side), l.Axles[side], pose)
	return math.Atan2(a.Y, a.X)
}

// ToeRad is the toe of either wheel against the line that bisects
// them: the same for both.
func (l *Linkage) ToeRad(pose PoseRad) float64 {
	return (l.HeadingRad(Right, pose) - l.HeadingRad(Left, pose)) / 2
}

// MeanHeadingRad is the heading of the line that bisects the wheels.
func (l *Linkage) MeanHeadingRad(pose PoseRad) float64 {
	return (l.HeadingRad(Right, pose) + l.HeadingRad(Left, pose)) / 2
}

// Pose turns the carriers until the wheels have the toe against each other and the
// heading together, and the handlebar as it is told.
//
// With n across the wanted heading the axle a has to turn about k until n·a(θ) = 0:
//
//	(n·a − (n·k)(k·a)) cosθ + n·(k×a) sinθ = −(n·k)(k·a).
func (l *Linkage) Pose(toeRad, headingRad, barRad float64) (PoseRad, error) {
	pose := PoseRad{Handlebar: barRad}
	for _, side := range [2]Side{Left, Right} {
		sin, cos := math.Sincos(headingRad + side.sign()*toeRad)
		n, k, a := r3.Vec{X: -sin, Y: cos}, l.Pivots[side].Axis, l.Axles[side]
		along := r3.Dot(n, k) * r3.Dot(k, a)
		byCos, bySin := r3.Dot(n, a)-along, r3.Dot(n, r3.Cross(k, a))
		reach := -along / math.Hypot(byCos, bySin)
		if !(math.Abs(reach) <= 1) {
			return PoseRad{}, ErrLinkage
		}
		// cos(θ − middle) = reach has two solutions; the nearer one to straight ahead is meant.
		middle, aside := math.Atan2(bySin, byCos), math.Acos(reach)
		pose[side] = nearest(wrapRad(middle+aside), wrapRad(middle-aside))
	}
	return pose, nil
}

func nearest(a, b float64) float64 {
	if math.Abs(a) < math.Abs(b) {
		return a
	}
	return b
}

func wrapRad(angle float64) float64 { return math.Remainder(angle, 2*math.Pi) }

// headingArmMm turns the mean heading's equation into millimetres, as long as the
// rods' equations are.
const headingArmMm = 100

// closedMm is how well a solved linkage closes: far above the rounding of
// coordinates of some hundred millimetres, far below any rod end's play.
const closedMm = 1e-7

// Solve finds the pose in which the rods have these lengths, beginning at start. Of
// start two rods keep the handlebar's angle, one rod the wheels' mean heading.
func (l *Linkage) Solve(lengthsMm []float64, start PoseRad) (PoseRad, error) {
	if len(lengthsMm) != len(l.Rods) || len(l.Rods) < 1 || len(l.Rods) > 2 {
		return PoseRad{}, fmt.Errorf("linkage of %d rods with %d lengths", len(l.Rods), len(lengthsMm))
	}
	solution, err := Solve(l.closure(lengthsMm, l.MeanHeadingRad(start)), start, Options{})
	if err != nil || !(math.Sqrt(2*solution.Cost) < closedMm) {
		return PoseRad{}, ErrLinkage
	}
	return solution.State, nil
}

// closure is the linkage's equations, for the angles of both carriers.
func (l *Linkage) closure(lengthsMm []float64, headingRad float64) Problem[PoseRad] {
	return Problem[PoseRad]{
		Unknowns: 2,
		Plus: func(pose PoseRad, delta []float64) PoseRad {
			pose[LeftCarrier] += delta[0]
			pose[RightCarrier] += delta[1]
			return pose
		},
		Rows: func(pose PoseRad, emit func(Row)) bool {
			for i, rod := range l.Rods {
				emit(l.rodRow(rod, lengthsMm[i], pose))
			}
			if len(l.Rods) == 1 {
				emit(Row{
					Cols:     []int{int(LeftCarrier), int(RightCarrier)},
					Derivs:   []float64{headingArmMm * l.headingRate(Left, pose) / 2, headingArmMm * l.headingRate(Right, pose) / 2},
					Residual: headingArmMm * (l.MeanHeadingRad(pose) - headingRad),
				})
			}
			return true
		},
	}
}

// rodRow is a rod's length less what it has to be.
func (l *Linkage) rodRow(rod Rod, lengthMm float64, pose PoseRad) Row {
	ends := [2]r3.Vec{l.place(rod[0], pose), l.place(rod[1], pose)}
	span := r3.Sub(ends[1], ends[0])
	row := Row{Residual: r3.Norm(span) - lengthMm}
	direction := r3.Unit(span)
	for i, sign := range [2]float64{-1, 1} {
		if body := rod[i].Body; body != Handlebar {
			pivot := l.Pivots[body]
			row.Cols = append(row.Cols, int(body))
			row.Derivs = append(row.Derivs, sign*r3.Dot(direction, r3.Cross(pivot.Axis, r3.Sub(ends[i], pivot.Foot))))
		}
	}
	return row
}

// headingRate is how a wheel's heading moves with its carrier's angle.
func (l *Linkage) headingRate(side Side, pose PoseRad) float64 {
	a := l.turned(Body(side), l.Axles[side], pose)
	rate := r3.Cross(l.Pivots[side].Axis, a)
	return (a.X*rate.Y - a.Y*rate.X) / (a.X*a.X + a.Y*a.Y)
}
