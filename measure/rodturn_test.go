package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// helix is a point of a thread of the given pitch about the z axis: right-handed by
// the definition of the right-handed helix, (r cosφ, r sinφ, pitch·φ/2π), left-handed
// with the angle reversed.
func helix(phi, pitch, hand float64) r3.Vec {
	return r3.Vec{X: 4 * math.Cos(hand*phi), Y: 4 * math.Sin(hand*phi), Z: pitch * phi / (2 * math.Pi)}
}

// A screw that has turned by an angle about z and moved along z lies in its nut again, which is
// the same helix, only if it moved by hand · pitch · angle/2π.
func screwAdvance(angle, pitch, hand float64) float64 { return hand * pitch * angle / (2 * math.Pi) }

func TestScrewsStayInTheirNuts(t *testing.T) {
	for _, hand := range [2]float64{1, -1} {
		for _, angle := range []float64{-2, 0.5, 3} {
			for _, phi := range []float64{0, 1, 5} {
				moved := r3.Add(r3.NewRotation(angle, r3.Vec{Z: 1}).Rotate(helix(phi, 1, hand)), r3.Vec{Z: screwAdvance(angle, 1, hand)})
				inNut := helix(phi+hand*angle, 1, hand)
				assert.InDelta(t, 0, r3.Norm(r3.Sub(moved, inNut)), 1e-12)
			}
		}
	}
}

// Rods of every arrangement, turned so that the top moves where it is said to: by the
// screws at both ends they get longer by twice the pitch a turn.
func TestTurnedRodsGetLonger(t *testing.T) {
	for _, leftThread := range []string{"left", "right", "outer", "inner"} {
		names := []string{leftRod, rightRod}
		if leftThread == "left" || leftThread == "right" {
			names = append(names, tieRod, crossRod)
		}
		for _, name := range names {
			omega, err := crosswise(name, leftThread)
			require.NoError(t, err)
			r := rod{name: name, longer: omega}
			// What is said, as a turn vector of the rod: with the top toward the front it turns about the
			// axis to the vehicle's left, since left × up = front.
			left := r3.Vec{X: -1}
			require.Equal(t, r3.Vec{Y: 1}, r3.Cross(left, r3.Vec{Z: 1}))
			said := map[string]r3.Vec{"front": left, "rear": r3.Scale(-1, left)}[r.topMoves(true)]
			// Where the left-handed end is, from the rod's middle.
			outward := map[string]float64{leftRod: -1, rightRod: 1}[name]
			toLeftHanded := r3.Vec{X: map[string]float64{"left": -1, "right": 1, "outer": outward, "inner": -outward}[leftThread]}
			longer := 0.0
			for hand, toEnd := range map[float64]r3.Vec{-1: toLeftHanded, 1: r3.Scale(-1, toLeftHanded)} {
				// About the axis from the middle to this end; what advances goes into the end.
				angle := 2 * math.Pi * r3.Dot(said, toEnd)
				longer -= screwAdvance(angle, 1.25, hand)
			}
			assert.InDelta(t, 2.5, longer, 1e-12, "%s, left-hand thread %s", name, leftThread)
			assert.NotEqual(t, r.topMoves(true), r.topMoves(false))
		}
	}
}

func TestSettingsAround(t *testing.T) {
	fine := rod{step: 1.0 / turnSteps}
	near := fine.around(0.35)
	assert.InDeltaSlice(t, []float64{8.0 / 24, 9.0 / 24}, near[:], 1e-12)
	coarse := rod{step: 0.5}
	assert.Equal(t, [2]float64{-0.5, 0}, coarse.around(-0.35))
}
