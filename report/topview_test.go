package report

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/measure"
)

const (
	planeMm    = 200.0
	discRadius = 8.0 // mm
)

// lookingAt is the pose of a camera at eye whose axis goes through target.
func lookingAt(eye, target r3.Vec) calib.Pose {
	z := r3.Unit(r3.Sub(target, eye))
	x := r3.Unit(r3.Cross(z, r3.Vec{Z: 1}))
	y := r3.Cross(z, x)
	r := calib.Rot{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {z.X, z.Y, z.Z}}
	return calib.Pose{R: r, T: r3.Scale(-1, r.Apply(eye))}
}

// synthetic is a measurement whose rims stand turned by 10° in the vehicle frame
// and away from its origin, with the given cameras.
func synthetic(cameras ...measure.PlacedCamera) measure.Measurement {
	m := measure.Measurement{Result: sampleResult()}
	m.Top = measure.TopView{HeightMm: planeMm, Cameras: cameras}
	place := func(x, y float64) [2]float64 {
		s, c := math.Sincos(10 * math.Pi / 180)
		return [2]float64{150 + c*x - s*y, -250 + s*x + c*y}
	}
	m.Top.Rims = [2]measure.RimLine{
		{Front: place(-200, 150), Rear: place(-205, -150)},
		{Front: place(200, 150), Rear: place(205, -150)},
	}
	return m
}

// renderPlane is the photo of a grey plane at hub height with red discs on it,
// four by four rays a pixel.
func renderPlane(camera measure.PlacedCamera, discs []r3.Vec) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, 800, 600))
	draw.Draw(img, img.Rect, image.NewUniform(color.RGBA{180, 180, 180, 255}), image.Point{}, draw.Src)
	back := camera.Pose.Inverse()
	const rays = 4
	for _, disc := range discs {
		middle, _ := camera.Camera.Project(camera.Pose.Apply(disc))
		const reach = 15 // pixels, more than a disc's radius
		for i := range 4 * reach * reach {
			u, v := int(middle.X)-reach+i%(2*reach), int(middle.Y)-reach+i/(2*reach)
			hits := 0
			for k := range rays * rays {
				du := (float64(k%rays)+0.5)/rays - 0.5
				dv := (float64(k/rays)+0.5)/rays - 0.5
				ray, _ := camera.Camera.Ray(calib.Point{X: float64(u) + du, Y: float64(v) + dv})
				direction := back.R.Apply(ray)
				at := r3.Add(back.T, r3.Scale((planeMm-back.T.Z)/direction.Z, direction))
				if math.Hypot(at.X-disc.X, at.Y-disc.Y) < discRadius {
					hits++
				}
			}
			share := float64(hits) / (rays * rays)
			img.SetRGBA(u, v, color.RGBA{uint8(180 + 60*share), uint8(180 * (1 - share)), uint8(180 * (1 - share)), 255})
		}
	}
	return img
}

// Discs on the plane, photographed from aslant through a lens with distortion,
// come out where they are: 100 mm are 200 pixels.
func TestTopViewIsTrueToScale(t *testing.T) {
	camera := measure.PlacedCamera{
		Camera: calib.Camera{F: 600, Cx: 410, Cy: 290, K1: 0.05, K2: -0.02, P1: 0.001},
		Pose:   lookingAt(r3.Vec{X: 100, Y: 400, Z: 1300}, r3.Vec{X: 150, Y: -250, Z: planeMm}),
	}
	m := synthetic(camera)
	v, err := NewTopView(m)
	require.NoError(t, err)

	var discs []r3.Vec
	var locals [][2]float64
	for _, local := range [][2]float64{{-95, 45}, {5, 45}, {105, 45}, {5, -55}, {-195, -205}} {
		p := v.ground.pixel(local[0], local[1])
		at := v.ground.scene(int(math.Round(p.X)), int(math.Round(p.Y)))
		x, y := v.ground.local([2]float64{at.X, at.Y}) // to the centre of a pixel
		discs = append(discs, at)
		locals = append(locals, [2]float64{x, y})
	}
	for _, orientation := range []int{1, 6} {
		v, err := NewTopView(m)
		require.NoError(t, err)
		v.Add(0, NewPicture(renderPlane(camera, discs), orientation))
		found := make([]calib.Point, len(discs))
		for i, l := range locals {
			found[i] = redCentre(v.ground, v.ground.pixel(l[0], l[1]))
			want := v.ground.pixel(l[0], l[1])
			// A disc of 8 pixels across in the photo, in 8-bit colours, with no
			// noise: its centroid is good to a few hundredths of a pixel.
			assert.InDelta(t, want.X, found[i].X, 0.1, "disc %d", i)
			assert.InDelta(t, want.Y, found[i].Y, 0.1, "disc %d", i)
		}
		assert.InDelta(t, 200, found[1].X-found[0].X, 0.2, "100 mm to the right")
		assert.InDelta(t, 200, found[3].Y-found[1].Y, 0.2, "100 mm to the rear")
	}
}

// redCentre is the centroid of what is red around a place.
func redCentre(g *ground, near calib.Point) calib.Point {
	const half = 30
	var sum, sx, sy float64
	for y := int(near.Y) - half; y <= int(near.Y)+half; y++ {
		for x := int(near.X) - half; x <= int(near.X)+half; x++ {
			c := g.colour[y*g.width+x]
			w := math.Max(0, float64(c[0])-float64(c[1])-4)
			sum += w
			sx += w * float64(x)
			sy += w * float64(y)
		}
	}
	return calib.Point{X: sx / sum, Y: sy / sum}
}

// The drawn frame lies in the middle of the rims and along the line that bisects
// them, wherever the vehicle frame is.
func TestTopViewFrame(t *testing.T) {
	m := synthetic()
	v, err := NewTopView(m)
	require.NoError(t, err)
	for i, want := range [][2]float64{{-200, 150}, {200, 150}} {
		x, y := v.ground.local(m.Top.Rims[i].Front)
		assert.InDelta(t, want[0], x, 1e-9)
		assert.InDelta(t, want[1], y, 1e-9)
	}
	left, right := v.at(m.Top.Rims[0].Front), v.at(m.Top.Rims[1].Front)
	assert.InDelta(t, 400*topPxPerMm, right.X-left.X, 1e-9)
	assert.InDelta(t, left.Y, right.Y, 1e-9)
	rear := v.at(m.Top.Rims[0].Rear)
	assert.InDelta(t, 300*topPxPerMm, rear.Y-left.Y, 1e-9, "front is up")

	// scene and local are inverse.
	at := v.ground.scene(123, 456)
	x, y := v.ground.local([2]float64{at.X, at.Y})
	p := v.ground.pixel(x, y)
	assert.InDelta(t, 123, p.X, 1e-9)
	assert.InDelta(t, 456, p.Y, 1e-9)
	assert.Equal(t, planeMm, at.Z)
}

func uniform(c color.Color) *Picture {
	img := image.NewRGBA(image.Rect(0, 0, 400, 300))
	draw.Draw(img, img.Rect, image.NewUniform(c), image.Point{}, draw.Src)
	return NewPicture(img, 1)
}

// Each place is shown by the photo that sees it most from above, whatever the
// order of the photos.
func TestTopViewTakesTheSteepestPhoto(t *testing.T) {
	lens := calib.Camera{F: 170, Cx: 200, Cy: 150}
	middle := r3.Vec{X: 150, Y: -250, Z: planeMm}
	front := measure.PlacedCamera{Camera: lens, Pose: lookingAt(r3.Add(middle, r3.Vec{Y: 900, Z: 900}), middle)}
	rear := measure.PlacedCamera{Camera: lens, Pose: lookingAt(r3.Add(middle, r3.Vec{Y: -900, Z: 900}), middle)}
	reddish, bluish := uniform(color.RGBA{240, 60, 60, 255}), uniform(color.RGBA{60, 60, 240, 255})
	for _, order := range [][2]int{{0, 1}, {1, 0}} {
		v, err := NewTopView(synthetic(front, rear))
		require.NoError(t, err)
		for _, i := range order {
			v.Add(i, []*Picture{reddish, bluish}[i])
		}
		for _, c := range []struct {
			y     float64
			front bool
		}{{250, true}, {150, true}, {-150, false}, {-250, false}} {
			p := v.ground.pixel(0, c.y)
			got := v.ground.colour[int(p.Y)*v.ground.width+int(p.X)]
			assert.Equal(t, c.front, got[0] > got[2], "at y = %v mm", c.y)
		}
	}
}

func TestTopViewDrawsLinesAndGaps(t *testing.T) {
	camera := measure.PlacedCamera{
		Camera: calib.Camera{F: 170, Cx: 200, Cy: 150},
		Pose:   lookingAt(r3.Vec{X: 150, Y: -251, Z: 1300}, r3.Vec{X: 150, Y: -250, Z: planeMm}),
	}
	m := synthetic(camera)
	v, err := NewTopView(m)
	require.NoError(t, err)
	v.Add(0, uniform(color.RGBA{230, 230, 230, 255}))
	img := v.Draw()
	colour := func(x, y float64) color.RGBA { return img.RGBAAt(int(math.Round(x)), int(math.Round(y))) }

	for i, rim := range m.Top.Rims {
		front, rear := v.at(rim.Front), v.at(rim.Rear)
		assert.Equal(t, white(), colour(front.X, front.Y), "end of rim %d in front", i)
		assert.Equal(t, white(), colour(rear.X, rear.Y), "end of rim %d at the rear", i)
		// Between its points and a little beyond them runs the rim's line.
		for _, k := range []float64{-0.2, 0.25, 0.75, 1.2} {
			x, y := rear.X+k*(front.X-rear.X), rear.Y+k*(front.Y-rear.Y)
			assert.Equal(t, vermilion(), colour(x, y), "rim %d at %v of its line", i, k)
		}
	}
	left, right := v.at(m.Top.Rims[0].Front), v.at(m.Top.Rims[1].Front)
	assert.Equal(t, sky(), colour(left.X+0.2*(right.X-left.X), left.Y), "front gap")
	left, right = v.at(m.Top.Rims[0].Rear), v.at(m.Top.Rims[1].Rear)
	assert.Equal(t, sky(), colour(left.X+0.2*(right.X-left.X), left.Y), "rear gap")

	// The strong grid is 100 mm wide: darker there than just beside it.
	for _, x := range []float64{-100, 0, 100} {
		p := v.spot(x, 95)
		assert.Less(t, colour(p.X, p.Y).G, colour(p.X+6, p.Y).G-20, "grid line at %v mm", x)
	}
}

func TestTopViewNeedsSensibleRims(t *testing.T) {
	for name, spoil := range map[string]func(*measure.TopView){
		"no lines":    func(v *measure.TopView) { v.Rims = [2]measure.RimLine{} },
		"a point":     func(v *measure.TopView) { v.Rims[0].Front = v.Rims[0].Rear },
		"no number":   func(v *measure.TopView) { v.Rims[1].Rear[0] = math.NaN() },
		"kilometres":  func(v *measure.TopView) { v.Rims[1].Front[0] += 1e6 },
		"an infinity": func(v *measure.TopView) { v.Rims[0].Rear[1] = math.Inf(1) },
	} {
		m := synthetic()
		spoil(&m.Top)
		_, err := NewTopView(m)
		assert.Error(t, err, name)
	}
	m := synthetic()
	m.Result.Wheels = m.Result.Wheels[:1]
	_, err := NewTopView(m)
	assert.Error(t, err, "one wheel")
}

func TestEnlargementKeepsTheEmblemReadable(t *testing.T) {
	assert.Equal(t, 50.0, enlargement(0.001))
	assert.Equal(t, 20.0, enlargement(2.0/200)) // 4 mm on a rim of 400 mm
	assert.Equal(t, 1.0, enlargement(0.5))
}
