package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Rot is a rotation matrix, row by row.
type Rot [3][3]float64

// Identity is the rotation that moves nothing.
func Identity() Rot { return Rot{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}} }

// Apply returns R·v.
func (r Rot) Apply(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: r[0][0]*v.X + r[0][1]*v.Y + r[0][2]*v.Z,
		Y: r[1][0]*v.X + r[1][1]*v.Y + r[1][2]*v.Z,
		Z: r[2][0]*v.X + r[2][1]*v.Y + r[2][2]*v.Z,
	}
}

// Transpose is the inverse rotation.
func (r Rot) Transpose() Rot {
	var t Rot
	for i := range r {
		for j := range r {
			t[j][i] = r[i][j]
		}
	}
	return t
}

// Mul returns R·q: first q, then R.
func (r Rot) Mul(q Rot) Rot {
	var p Rot
	for i := range r {
		for j := range r {
			p[i][j] = r[i][0]*q[0][j] + r[i][1]*q[1][j] + r[i][2]*q[2][j]
		}
	}
	return p
}

// RotFromVector is the rotation by |w| radians about w (Rodrigues' formula).
func RotFromVector(w r3.Vec) Rot {
	angle := r3.Norm(w)
	// sin(angle)/angle and (1-cos(angle))/angle² by series near zero, where the
	// quotients lose their digits; the next terms are below 1e-17 there.
	s, c := 1-angle*angle/6, 0.5-angle*angle/24
	if angle > 1e-4 {
		s, c = math.Sin(angle)/angle, (1-math.Cos(angle))/(angle*angle)
	}
	x, y, z := w.X, w.Y, w.Z
	return Rot{
		{1 - c*(y*y+z*z), c*x*y - s*z, c*x*z + s*y},
		{c*x*y + s*z, 1 - c*(x*x+z*z), c*y*z - s*x},
		{c*x*z - s*y, c*y*z + s*x, 1 - c*(x*x+y*y)},
	}
}

// Pose takes points from one frame to another: X' = R·X + T.
type Pose struct {
	R Rot
	T r3.Vec
}

// Apply moves a point.
func (p Pose) Apply(v r3.Vec) r3.Vec { return r3.Add(p.R.Apply(v), p.T) }

// Inverse undoes p.
func (p Pose) Inverse() Pose {
	rt := p.R.Transpose()
	return Pose{R: rt, T: r3.Scale(-1, rt.Apply(p.T))}
}

// Mul returns the pose that applies q first, then p.
func (p Pose) Mul(q Pose) Pose { return Pose{R: p.R.Mul(q.R), T: p.Apply(q.T)} }

// Perturb turns the pose by the small rotation w (radians, in the target frame,
// about the target's origin of the body) and shifts it by t: R' = exp(w)·R,
// T' = T + t. These six numbers are what an adjustment solves for.
func (p Pose) Perturb(w, t r3.Vec) Pose {
	return Pose{R: RotFromVector(w).Mul(p.R), T: r3.Add(p.T, t)}
}

// Origin is where the target frame's origin lies in the source frame: for a
// camera pose, the camera's place in the scene.
func (p Pose) Origin() r3.Vec { return p.Inverse().T }
