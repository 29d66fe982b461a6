package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// A wheel whose ball misses the picture has no point of its outline in it.
func TestFrameMissesWhatIsOutside(t *testing.T) {
	s := exampleScene()
	size := [2]float64{4032, 3024}
	missed, whole := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		v := s.view(rapid.IntRange(0, len(s.Photos)-1).Draw(t, "photo"))
		f := newFrame(v.camera, size)
		w := guess{
			x: rapid.Float64Range(-2000, 2000).Draw(t, "x"), y: rapid.Float64Range(-2000, 2000).Draw(t, "y"),
			headingRad: rapid.Float64Range(-maxHeadingRad, maxHeadingRad).Draw(t, "heading"), outer: 250, bead: 203,
		}.wheel()
		c := newLocus(&w, TyreOuter, 0, v)
		inside := 0
		for _, a := range anglesAround(searchAngles) {
			p, ok := c.pointAt(a.sin, a.cos)
			if !ok {
				continue
			}
			in := v.pose.Apply(p.at)
			px, ok := v.camera.Project(in)
			// Far outside, this lens bends lines of sight back into the picture.
			if ok && math.Hypot(in.X, in.Y) < in.Z && px.X > 0 && px.Y > 0 && px.X < size[0]-1 && px.Y < size[1]-1 {
				inside++
			}
		}
		if f.misses(v.pose.Apply(w.Centre), w.Ring+w.Tube) {
			missed++
			require.Zero(t, inside)
		}
		if inside == searchAngles {
			whole++
		}
	})
	require.Positive(t, missed)
	require.Positive(t, whole)
}

// A frame of which nothing is known misses nothing.
func TestUnknownFrame(t *testing.T) {
	f := frame{math.Inf(-1), math.Inf(1), math.Inf(-1), math.Inf(1)}
	for _, at := range []r3.Vec{{X: 1e4, Z: 1}, {X: -1e4, Y: 1e4, Z: -5}, {}} {
		require.False(t, f.misses(at, 1))
	}
}
