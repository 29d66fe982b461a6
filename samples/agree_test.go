package samples

import (
	"image"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// linear undoes the sRGB curve: as much of the tone curve as one who measures knows.
func linear(v uint8) float64 {
	f := float64(v) / 255
	if f <= 0.04045 {
		return f / 12.92
	}
	return math.Pow((f+0.055)/1.055, 2.4)
}

// outerOutline predicts a tyre's outline against what lies outside it, from the truth
// alone: places in the picture, and their outward normals there.
func outerOutline(s Shot, w WheelTruth) (at, normal []calib.Point) {
	R, r := w.TyreDiameterMm/2-w.TyreWidthMm/2, w.TyreWidthMm/2
	frame := axesAbout(vector(w.HubMm), vector(w.TyreAxis), vec{Z: 1})
	place := s.Pose.Origin()
	for i := range 720 {
		c := frame.onCircle(R, float64(i)*math.Pi/360, 0)
		e := unit(minus(c, frame.o))
		a, b := dot(e, minus(c, place)), dot(frame.w, minus(c, place))
		for _, branch := range []float64{-1, 1} {
			v := math.Atan2(b, a) + branch*math.Acos(-r/math.Hypot(a, b))
			// The outer branch lies on the tread's half of the tube, well above the floor.
			n := plus(times(math.Cos(v), e), times(math.Sin(v), frame.w))
			p := plus(c, times(r, n))
			if math.Cos(v) < 0.1 || p.Z < 60 {
				continue
			}
			q, _ := s.Project(p)
			out, _ := s.Project(plus(p, n))
			d := math.Hypot(out.X-q.X, out.Y-q.Y)
			at, normal = append(at, q), append(normal, calib.Point{X: (out.X - q.X) / d, Y: (out.Y - q.Y) / d})
		}
	}
	return at, normal
}

// edgeOffset finds where, along a normal, linear light passes the middle between its
// levels 5 px to both sides; ok is false where that is no clean rise.
func edgeOffset(level func(x, y float64) float64, at, n calib.Point) (float64, bool) {
	const reach, step = 5.0, 0.05
	value := func(s float64) float64 { return level(at.X+s*n.X, at.Y+s*n.Y) }
	inside, outside := value(-reach), value(reach)
	if outside < 1.5*inside+0.02 {
		return 0, false
	}
	middle, crossings, where := (inside+outside)/2, 0, 0.0
	for s := -reach; s < reach; s += step {
		if a, b := value(s)-middle, value(s+step)-middle; (a < 0) != (b < 0) {
			crossings, where = crossings+1, s+step*a/(a-b)
		}
	}
	return where, crossings == 1
}

// In finished photos the tyres' outlines lie where the truth puts them. A dull tyre's
// stays within a few hundredths of a pixel after all of blur, noise, sharpening and
// JPEG; on a tyre as drawn, the gleam along its limb moves the edge inward by up to
// 0.3 px, as it does on the path-traced photos that came with the project.
func TestPhotosAgreeWithTruth(t *testing.T) {
	for name, c := range map[string]struct {
		dull           bool
		inward, beyond float64
	}{"dull": {true, 0.05, 0.05}, "as drawn": {false, 0.3, 0.05}} {
		t.Run(name, func(t *testing.T) {
			s := NewScene(17, Options{LongSide: 1400, Setting: Shade, Views: []View{Front, CornerRearRight}})
			if c.dull {
				s.looks.tyre.rubber.mirror, s.looks.tyre.wall.mirror = 0, 0
			}
			for i, picture := range s.Pictures() {
				state := s.Vehicle.State(s.Shots[i].TurnDeg)
				for _, w := range []WheelTruth{state.Wheels.L, state.Wheels.R} {
					offsets := outlineOffsets(s.Shots[i], picture, w)
					require.Greater(t, len(offsets), 150, s.Shots[i].Name)
					slices.Sort(offsets)
					q := func(f float64) float64 { return offsets[int(f*float64(len(offsets)-1))] }
					t.Logf("%s: %d places, median %+.3f, quartiles %+.3f %+.3f px", s.Shots[i].Name, len(offsets), q(0.5), q(0.25), q(0.75))
					assert.Greater(t, q(0.5), -c.inward)
					assert.Less(t, q(0.5), c.beyond)
					assert.Less(t, q(0.75)-q(0.25), 0.3)
				}
			}
		})
	}
}

// outlineOffsets measures a tyre's outline in a picture against its prediction.
func outlineOffsets(s Shot, picture *image.YCbCr, w WheelTruth) []float64 {
	level := func(x, y float64) float64 {
		fx, fy := math.Floor(x), math.Floor(y)
		ix, iy, a, b := int(fx), int(fy), x-fx, y-fy
		if ix < 0 || iy < 0 || ix+1 >= s.Width || iy+1 >= s.Height {
			return 0
		}
		pixel := func(dx, dy int) float64 { return linear(picture.Y[(iy+dy)*picture.YStride+ix+dx]) }
		return (1-b)*((1-a)*pixel(0, 0)+a*pixel(1, 0)) + b*((1-a)*pixel(0, 1)+a*pixel(1, 1))
	}
	at, normal := outerOutline(s, w)
	var offsets []float64
	for k := range at {
		if o, ok := edgeOffset(level, at[k], normal[k]); ok {
			offsets = append(offsets, o)
		}
	}
	return offsets
}
