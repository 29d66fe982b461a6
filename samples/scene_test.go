package samples

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

var allViews = []View{Front, RearView, Behind, Above, LeftSide, RightSide, CornerFrontLeft, CornerFrontRight, CornerRearLeft, CornerRearRight}

// What is drawn stays within the ranges of the photos that came with the project, and
// every photo shows what it has to.
func TestDrawnScenesAreSensible(t *testing.T) {
	settings := map[Setting]int{}
	for seed := range uint64(200) {
		s := NewScene(seed, Options{Views: allViews})
		settings[s.Setting]++
		state := s.Vehicle.State(0)
		assert.LessOrEqual(t, math.Abs(state.TotalToeMm), 6.01)
		assert.InDelta(t, 785, state.TrackMm, 71)
		assert.InDelta(t, 1030, state.WheelbaseMm, 70)
		for _, w := range []WheelTruth{state.Wheels.L, state.Wheels.R} {
			assert.LessOrEqual(t, math.Abs(*w.ToeDeg), 2.2)
			assert.LessOrEqual(t, math.Abs(w.CamberDeg), 4.)
			assert.LessOrEqual(t, w.RunoutMm, 1.5)
			assert.LessOrEqual(t, w.WobbleMm, 1.1)
			assert.InDelta(t, 446, w.TyreDiameterMm, 62)
			assert.InDelta(t, w.BeadSeatMm+12, w.RimDiameterMm, 1)
			assert.InDelta(t, w.TyreDiameterMm/2, w.HubMm[2], 3.5)
		}
		require.Len(t, s.Sheets, 2)
		assert.Negative(t, s.Sheets[0].X*s.Sheets[1].X, "sheets are not on a diagonal")
		assert.Greater(t, s.Sheets[0].Y, 300.)
		assert.Less(t, s.Sheets[1].Y, -300.)
		for _, shot := range s.Shots {
			wheels, middle := []Wheel{s.Vehicle.Left, s.Vehicle.Right}, vec{}
			if shot.View == Behind {
				wheels, middle = append(wheels, s.Vehicle.Rear), times(0.5, s.Vehicle.Rear.Hub)
			}
			require.True(t, shot.shows(mustShow(s.Sheets, wheels...)), shot.Name)
			true35 := shot.Camera.F * math.Hypot(36, 24) / math.Hypot(float64(shot.Width), float64(shot.Height))
			assert.InDelta(t, 1, float64(shot.Phone.Focal35Mm)/true35, 0.04) // 3 % and the jitter
			distance := norm(minus(shot.Pose.Origin(), middle))
			assert.InDelta(t, 1900, distance, 900, shot.Name)
		}
	}
	assert.Len(t, settings, 4)
}

// Every lens has a ray for every place of its picture, whatever the seed.
func TestLensesReachTheirCorners(t *testing.T) {
	again := 0
	for seed := range uint64(2000) {
		if !reaches(drawLens(stream(seed, streamCameras), 4000, 3000), 4000, 3000) {
			again++
		}
		c := newLens(stream(seed, streamCameras), 4000, 3000)
		for _, corner := range []calib.Point{{}, {X: 4000}, {Y: 3000}, {X: 4000, Y: 3000}} {
			_, ok := c.Ray(corner)
			require.True(t, ok, "seed %d: %+v at %v", seed, c, corner)
		}
	}
	t.Logf("%d of 2000 polynomials were drawn again", again)
	assert.Positive(t, again, "no lens put this to the test")
}

// Distances that truth implies and the solids show agree: the tyre's and the rim's
// extremes lie on the parts that are rendered.
func TestTruthIsWhatIsBuilt(t *testing.T) {
	s := NewScene(11, Options{})
	state := s.Vehicle.State(0)
	left, right := state.Wheels.L.rim(Left), state.Wheels.R.rim(Right)
	lf, lr := left.innerEdge()
	rf, rr := right.innerEdge()
	for _, c := range []struct {
		wheel Wheel
		edge  vec
	}{{s.Vehicle.Left, lf}, {s.Vehicle.Left, lr}, {s.Vehicle.Right, rf}, {s.Vehicle.Right, rr}} {
		// A ray from the axle's height outward along the floor meets the crest there.
		rim := newLathe(c.wheel.spun(c.wheel.RimAxis(0), 0), rimProfile(c.wheel)...)
		out := unit(vec{Y: c.edge.Y - c.wheel.Hub.Y})
		h := hit{t: math.Inf(1)}
		require.True(t, rim.meet(ray{plus(c.edge, times(100, out)), times(-1, out)}, &h))
		assert.InDelta(t, 100, h.t, 0.01)
	}
}

// Run-out is what a dial gauge would show: the rim's edge moves along the axle by so
// much, peak to peak, as the wheel turns. Half a turn cancels it.
func TestRunoutAndHalfTurn(t *testing.T) {
	for seed := range uint64(20) {
		v := NewScene(seed, Options{}).Vehicle
		for _, w := range []Wheel{v.Left, v.Right} {
			axle := w.Axle()
			lowest, highest := math.Inf(1), math.Inf(-1)
			for turn := 0.0; turn < 360; turn++ {
				// The gauge stands at the wheel's top.
				rim := axesAbout(w.Hub, w.RimAxis(turn), vec{Z: 1})
				reading := dot(minus(rim.onCircle(w.RimDiameterMm/2, 0, 0), w.Hub), axle)
				lowest, highest = min(lowest, reading), max(highest, reading)
			}
			assert.InDelta(t, w.RunoutMm, highest-lowest, 2e-4)
		}
		top, bottom := v.State(0), v.State(180)
		assert.InDelta(t, top.TotalToeMm, (top.RimTotalToeMm+bottom.RimTotalToeMm)/2, 1e-4)
		assert.Equal(t, top.TotalToeMm, bottom.TotalToeMm)
	}
}

// The angles that are put in come out of the axes.
func TestWheelAngles(t *testing.T) {
	for _, side := range []Side{Left, Right, Rear} {
		w := Wheel{Side: side, ToeDeg: 1.25, CamberDeg: -2.5}
		assert.InDelta(t, 1.25, ToeDeg(side, w.Axle()), 1e-12)
		assert.InDelta(t, -2.5, CamberDeg(side, w.Axle()), 1e-12)
	}
	// Toe-in: the left wheel's front points to the right, so its axis to the rear.
	assert.Negative(t, Wheel{Side: Left, ToeDeg: 1}.Axle().Y)
	assert.Positive(t, Wheel{Side: Right, ToeDeg: 1}.Axle().Y)
}

// Noise, looks and picture size leave the geometry alone.
func TestStreamsAreSeparate(t *testing.T) {
	a := NewScene(3, Options{Setting: Bench})
	b := NewScene(3, Options{Setting: Shade, LongSide: 800, Guards: WithGuards})
	assert.Equal(t, a.Vehicle, b.Vehicle)
	assert.Equal(t, a.Sheets, b.Sheets)
	for i := range a.Shots {
		assert.Equal(t, a.Shots[i].Develop, b.Shots[i].Develop)
	}
	assert.NotEqual(t, a.Vehicle, NewScene(4, Options{Setting: Bench}).Vehicle)
}

// The print is the design's: squares black from the top left, OpenCV's markers in the
// white ones.
func TestArtwork(t *testing.T) {
	s := Sheet{Number: 3}
	for i := range calib.SheetCorners {
		c := calib.CornerMm(i)
		black := (i%calib.CornerColumns+i/calib.CornerColumns)%2 == 0
		assert.Equal(t, black, s.inked(c.X-1, c.Y+1))
		assert.Equal(t, black, s.inked(c.X+1, c.Y-1))
		assert.Equal(t, !black, s.inked(c.X+1, c.Y+1))
		assert.Equal(t, !black, s.inked(c.X-1, c.Y-1))
	}
	// The first entries of DICT_4X4 in OpenCV's predefined_dictionaries.hpp, as bytes
	// (from memory).
	assert.Equal(t, uint16(181<<8|50), markerBits[0])
	assert.Equal(t, uint16(15<<8|154), markerBits[1])
	assert.Equal(t, uint16(51<<8|45), markerBits[2])
	// Sheet 3's first marker is id 34, in the second square of the top row: its cells
	// are the bits row by row.
	const cell = calib.MarkerMm / 6
	left, top := -1.5*calib.SquareMm+4.5, 3.5*calib.SquareMm-4.5
	for k := range 16 {
		x, y := left+(float64(k%4)+1.5)*cell, top-(float64(k/4)+1.5)*cell
		assert.Equal(t, markerBits[34]>>(15-k)&1 == 0, s.inked(x, y), k)
	}
}
