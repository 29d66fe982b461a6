package calib

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

func anyVector(t *rapid.T, name string, reach float64) r3.Vec {
	draw := func(axis string) float64 { return rapid.Float64Range(-reach, reach).Draw(t, name+axis) }
	return r3.Vec{X: draw("x"), Y: draw("y"), Z: draw("z")}
}

func anyPose(t *rapid.T, name string) Pose {
	return Pose{R: RotFromVector(anyVector(t, name+".w", 3)), T: anyVector(t, name+".t", 3000)}
}

func assertNear(t assert.TestingT, want, got r3.Vec, tolerance float64) {
	assert.LessOrEqual(t, r3.Norm(r3.Sub(want, got)), tolerance, "want %v, got %v", want, got)
}

// gonum's r3.Rotation turns by quaternions, a different way to the same rotation.
func TestRotFromVectorAgainstQuaternions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, v := anyVector(t, "w", 3), anyVector(t, "v", 1000)
		want := r3.NewRotation(r3.Norm(w), w).Rotate(v)
		if r3.Norm(w) == 0 {
			want = v // a rotation about no axis, of which gonum makes NaN
		}
		assertNear(t, want, RotFromVector(w).Apply(v), 1e-11) // rounding, of vectors of 1000
	})
}

// Both sides of the angle where the series ends, against the quarter-turn-free
// identity exp(w)·exp(-w) = 1 and the first-order rotation v + w × v + w × (w × v)/2,
// whose next term is angle³/6.
func TestRotFromVectorNearZero(t *testing.T) {
	v := r3.Vec{X: 3, Y: -2, Z: 5}
	for _, angle := range []float64{0, 1e-9, 0.99e-4, 1.01e-4} {
		w := r3.Scale(angle, r3.Unit(r3.Vec{X: 1, Y: 2, Z: -2}))
		cross := r3.Cross(w, v)
		want := r3.Add(v, r3.Add(cross, r3.Scale(0.5, r3.Cross(w, cross))))
		assertNear(t, want, RotFromVector(w).Apply(v), 7*angle*angle*angle/6+1e-14)
	}
}

func TestQuarterTurns(t *testing.T) {
	x, y, z := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	for _, test := range []struct{ axis, from, to r3.Vec }{{x, y, z}, {y, z, x}, {z, x, y}} {
		turn := RotFromVector(r3.Scale(math.Pi/2, test.axis))
		assertNear(t, test.to, turn.Apply(test.from), 1e-15)
		assertNear(t, test.axis, turn.Apply(test.axis), 1e-15)
	}
}

func TestRotationIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := RotFromVector(anyVector(t, "a", 3)), RotFromVector(anyVector(t, "b", 3))
		u, v := anyVector(t, "u", 1), anyVector(t, "v", 1)
		assertNear(t, v, a.Transpose().Apply(a.Apply(v)), 1e-14)
		assertNear(t, a.Apply(b.Apply(v)), a.Mul(b).Apply(v), 1e-14)
		assert.Equal(t, a, a.Mul(Identity()))
		assert.InDelta(t, r3.Dot(u, v), r3.Dot(a.Apply(u), a.Apply(v)), 1e-14)
		// A mirror would turn the cross product round.
		assertNear(t, r3.Cross(a.Apply(u), a.Apply(v)), a.Apply(r3.Cross(u, v)), 1e-14)
	})
}

func TestPoseIdentities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q, v := anyPose(t, "p"), anyPose(t, "q"), anyVector(t, "v", 3000)
		const tolerance = 1e-10 // rounding, of lengths up to 10⁴
		assertNear(t, v, p.Inverse().Apply(p.Apply(v)), tolerance)
		assertNear(t, p.Apply(q.Apply(v)), p.Mul(q).Apply(v), tolerance)
		assertNear(t, r3.Vec{}, p.Apply(p.Origin()), tolerance)
	})
}

func TestPerturbTurnsInTheTargetFrameAndShifts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, v := anyPose(t, "p"), anyVector(t, "v", 3000)
		w, shift := anyVector(t, "w", 0.1), anyVector(t, "shift", 10)
		turned := RotFromVector(w).Apply(r3.Sub(p.Apply(v), p.T))
		assertNear(t, r3.Add(turned, r3.Add(p.T, shift)), p.Perturb(w, shift).Apply(v), 1e-10)
		assert.Equal(t, p, p.Perturb(r3.Vec{}, r3.Vec{}))
	})
}
