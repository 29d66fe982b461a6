package samples

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
)

// evenLight shades every surface by its paint alone.
func evenLight() lamp {
	return lamp{towards: vec{Z: 1}, sky: grey(1), horizon: grey(1), bounce: grey(1), exposure: 1}
}

// bareStage shows parts of plain white over a black floor.
func bareStage(solids ...solid) *stage {
	m := new(assembly)
	m.addFine(func(*hit) paint { return paint{base: grey(1)} }, solids...)
	return &stage{parts: m.parts, lamp: evenLight(), sky: newSkyMap(nil, lamp{hard: true})}
}

// closeUp is a shot with a bent lens; its principal point lies on no round number.
func closeUp(place, target vec) Shot {
	return Shot{
		Width: 640, Height: 480,
		Camera: calib.Camera{F: 1213.7, Cx: 331.3, Cy: 228.6, K1: 0.06, K2: -0.05, P1: 0.0004, P2: -0.0006},
		Pose:   lookAt(place, target, vec{Z: 1}, 0.13, 1),
	}
}

// edgeErrors compares an edge between two even surfaces in linear light with its
// predicted line. Where the line crosses a row (or, if it is flat, a column) the sum
// of the light across it says where the edge is; the errors are in px along the row
// or column, times the cosine to the normal.
func edgeErrors(t *testing.T, p *lightPicture, line []calib.Point) []float64 {
	const reach = 3
	level := func(x, y int) float64 { return float64(p.channel[1][y*p.width+x]) }
	var errors []float64
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		steep := math.Abs(b.Y-a.Y) > math.Abs(b.X-a.X)
		at := level
		w, h := p.width, p.height
		if !steep { // swap x and y
			a, b = calib.Point{X: a.Y, Y: a.X}, calib.Point{X: b.Y, Y: b.X}
			at = func(x, y int) float64 { return level(y, x) }
			w, h = h, w
		}
		cosine := math.Abs(b.Y-a.Y) / math.Hypot(b.X-a.X, b.Y-a.Y)
		for y := int(math.Ceil(min(a.Y, b.Y))); float64(y) < max(a.Y, b.Y); y++ {
			want := a.X + (b.X-a.X)*(float64(y)-a.Y)/(b.Y-a.Y)
			x0, x1 := int(math.Floor(want))-reach, int(math.Floor(want))+reach
			if x0 < 0 || x1 >= w || y < 0 || y >= h {
				continue
			}
			left, right := at(x0, y), at(x1, y)
			if math.Abs(left-right) < 0.3 {
				continue // another edge is near
			}
			sum := 0.0
			for x := x0; x <= x1; x++ {
				sum += (at(x, y) - right) / (left - right)
			}
			errors = append(errors, (float64(x0)-0.5+sum-want)*cosine)
		}
	}
	return errors
}

// assertExact holds an edge to what the samples promise: no bias beyond three standard
// deviations of the mean over a hundred places and more, one to two split pixels of
// 0.0155 px a place, and no outlier beyond five standard deviations.
func assertExact(t *testing.T, errors []float64) {
	t.Helper()
	var sum, squares, worst float64
	for _, e := range errors {
		sum, squares, worst = sum+e, squares+e*e, max(worst, math.Abs(e))
	}
	n := float64(len(errors))
	require.Greater(t, n, 100., "too few places on the edge")
	t.Logf("%d places: mean %+.4f, rms %.4f, worst %.4f px", len(errors), sum/n, math.Sqrt(squares/n), worst)
	const sigma = 0.0155 * math.Sqrt2
	assert.InDelta(t, 0, sum/n, 3*sigma/math.Sqrt(n))
	assert.Less(t, math.Sqrt(squares/n), sigma)
	assert.Less(t, worst, 5*sigma)
}

func project(t *testing.T, s Shot, points []vec) []calib.Point {
	var line []calib.Point
	for _, p := range points {
		q, ok := s.Project(p)
		require.True(t, ok)
		line = append(line, q)
	}
	return line
}

// A straight edge, a plane circle and a torus's outline lie where the lens model
// projects them.
func TestEdgesAreExact(t *testing.T) {
	shot := closeUp(vec{X: -300, Y: -700, Z: 600}, vec{X: 10, Y: 20, Z: 120})
	frame := axesAbout(vec{X: 10, Y: 20, Z: 120}, vec{X: 0.4, Y: -0.5, Z: 0.8}, vec{X: 1})
	circle := func(radius, height float64, n int) []vec {
		var c []vec
		for i := range n + 1 {
			c = append(c, frame.onCircle(radius, 2*math.Pi*float64(i)/float64(n), height))
		}
		return c
	}
	t.Run("straight edges", func(t *testing.T) {
		plate := box{frame, vec{X: 130, Y: 90, Z: 1e-5}}
		p := bareStage(plate).photograph(shot)
		for _, side := range []float64{-1, 1} {
			along := func(f float64) vec { return frame.out(vec{X: 130 * f, Y: side * 90}) }
			across := func(f float64) vec { return frame.out(vec{X: side * 130, Y: 90 * f}) }
			for _, edge := range []func(float64) vec{along, across} {
				var points []vec
				for f := -0.9; f <= 0.9; f += 0.01 {
					points = append(points, edge(f))
				}
				assertExact(t, edgeErrors(t, p, project(t, shot, points)))
			}
		}
	})
	t.Run("circle", func(t *testing.T) {
		p := bareStage(newRod(frame, 118, -1e-5, 1e-5)).photograph(shot)
		assertExact(t, edgeErrors(t, p, project(t, shot, circle(118, 0, 2000))))
	})
	t.Run("torus outline", func(t *testing.T) {
		const R, r = 110.0, 18.0
		p := bareStage(&torus{axes: frame, R: R, r: r, vMax: math.Pi}).photograph(shot)
		// On the outline the surface's normal is square to the line of sight: with
		// the circle's point c, its outward direction e and the axis w,
		// n = cos v e + sin v w and n·(c - place) + r = 0.
		place := shot.Pose.Origin()
		for _, branch := range []float64{-1, 1} {
			var outline []vec
			for _, c := range circle(R, 0, 2000) {
				e := unit(minus(c, frame.o))
				a, b := dot(e, minus(c, place)), dot(frame.w, minus(c, place))
				v := math.Atan2(b, a) + branch*math.Acos(-r/math.Hypot(a, b))
				n := plus(times(math.Cos(v), e), times(math.Sin(v), frame.w))
				outline = append(outline, plus(c, times(r, n)))
			}
			assertExact(t, edgeErrors(t, p, project(t, shot, outline)))
		}
	})
}

// The print's lines lie where Sheet.Point and the lens put them, on a sheet with its
// own scales and lifted corners.
func TestSheetLinesAreExact(t *testing.T) {
	sheet := Sheet{Number: 2, X: 40, Y: -30, Z: 0.25, YawDeg: 17, ScaleX: 1.006, ScaleY: 0.993, LiftMm: [4]float64{0.1, 2, 3, 0.4}}
	shot := closeUp(vec{X: 300, Y: 250, Z: 330}, vec{X: 20, Y: -30})
	st := bareStage()
	st.sheets = []Sheet{sheet}
	p := st.photograph(shot)
	var errors []float64
	for i := range calib.SheetCorners {
		c := calib.CornerMm(i)
		for _, d := range []vec{{X: 1}, {Y: 1}, {X: -1}, {Y: -1}} {
			// From near the corner to near the next, so that one side is a black
			// square and the other the white margin around a marker.
			var points []vec
			for f := 3.0; f <= 33; f++ {
				points = append(points, sheet.Point(plus(c, times(f, d))))
			}
			errors = append(errors, sheetEdge(t, shot, p, points)...)
		}
	}
	assertExact(t, errors)
}

func sheetEdge(t *testing.T, s Shot, p *lightPicture, points []vec) []float64 {
	line := project(t, s, points)
	for _, q := range line {
		if q.X < 8 || q.Y < 8 || q.X > float64(s.Width-9) || q.Y > float64(s.Height-9) {
			return nil
		}
	}
	return edgeErrors(t, p, line)
}

// Within a tile the interpolated rays meet their own pixels again, for the worst lens
// that is drawn.
func TestRayInterpolation(t *testing.T) {
	s := Shot{
		Width: 1600, Height: 1200,
		Camera: calib.Camera{F: 1104, Cx: 820, Cy: 585, K1: -0.09, K2: 0.1, P1: 0.001, P2: -0.001},
		Pose:   calib.Pose{R: calib.Identity()},
	}
	c := newCamera(s)
	worst := 0.0
	for y := 0; y < s.Height; y += tileSize {
		for x := 0; x < s.Width; x += tileSize {
			want := calib.Point{X: float64(x) + 3.1, Y: float64(y) + 11.6}
			got, ok := s.Project(times(1000, c.patch(x, y, tileSize).ray(want.X, want.Y).d))
			require.True(t, ok)
			worst = max(worst, math.Hypot(got.X-want.X, got.Y-want.Y))
		}
	}
	t.Logf("worst %.1e px", worst)
	assert.Less(t, worst, 2e-4)
}
