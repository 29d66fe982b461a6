package report

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"testing"

	"github.com/disintegration/imaging"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/calib"
	"rimpair/measure"
)

// grey is a uniform photo. With a width of 1600 one unit is one pixel.
func grey(width, height int) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, width, height))
	draw.Draw(img, img.Rect, image.NewUniform(color.Gray{Y: 128}), image.Point{}, draw.Src)
	return img
}

// ink counts the changed pixels within a square around a place, and their centre.
func ink(p *Picture, at calib.Point, half int) (count int, cx, cy float64) {
	base := color.RGBA{128, 128, 128, 255}
	for y := int(at.Y) - half; y <= int(at.Y)+half; y++ {
		for x := int(at.X) - half; x <= int(at.X)+half; x++ {
			if p.Upright.RGBAAt(x, y) != base {
				count++
				cx += float64(x)
				cy += float64(y)
			}
		}
	}
	return count, cx / float64(count), cy / float64(count)
}

// A mark lies on its pixel however the photo is turned.
func TestMarksLieOnTheirPixels(t *testing.T) {
	dot := measure.EdgeMark{At: calib.Point{X: 900, Y: 500}, Kind: measure.TyreOuter, Used: true}
	rejected := measure.EdgeMark{At: calib.Point{X: 700, Y: 800}, Kind: measure.RimCircle}
	corner := measure.CornerMark{Seen: calib.Point{X: 800, Y: 300}, Fitted: calib.Point{X: 800, Y: 300}, Sheet: 1}
	for orientation := 1; orientation <= 8; orientation++ {
		p := NewPicture(grey(1600, 1200), orientation)
		DrawPhoto(p, measure.Overlay{
			Corners: []measure.CornerMark{corner},
			Edges:   []measure.EdgeMark{dot, rejected},
		})
		for name, mark := range map[string]calib.Point{"dot": dot.At, "rejected": rejected.At, "corner": corner.Seen} {
			at := p.place(mark)
			count, cx, cy := ink(p, at, 9)
			require.Positive(t, count, "%s, orientation %d", name, orientation)
			// The marks are symmetric, so their centre is their place but for the
			// rounding of shades at the rim of the mark.
			assert.InDelta(t, at.X, cx, 0.1, "%s, orientation %d", name, orientation)
			assert.InDelta(t, at.Y, cy, 0.1, "%s, orientation %d", name, orientation)
		}
		count, _, _ := ink(p, p.place(calib.Point{X: 1100, Y: 1000}), 50)
		assert.Zero(t, count, "nothing where nothing is")
	}
}

// Marks differ by shape, not by colour alone: as black on white and as large as on
// a photo of 12 megapixels, no two kinds are alike, nor is a rejected point like a
// used one.
func TestMarksDifferByShape(t *testing.T) {
	shape := func(e measure.EdgeMark) (mask [21 * 21]bool) {
		p := NewPicture(grey(4000, 3000), 1)
		e.At = calib.Point{X: 2000, Y: 1500}
		DrawPhoto(p, measure.Overlay{Edges: []measure.EdgeMark{e}})
		for i := range mask {
			mask[i] = p.Upright.RGBAAt(1990+i%21, 1490+i/21) != color.RGBA{128, 128, 128, 255}
		}
		return mask
	}
	shapes := [][21 * 21]bool{shape(measure.EdgeMark{Kind: measure.RimCircle})}
	for _, kind := range kinds() {
		shapes = append(shapes, shape(measure.EdgeMark{Kind: kind, Used: true}))
	}
	for i := range shapes {
		for j := range i {
			differ := 0
			for k := range shapes[i] {
				if shapes[i][k] != shapes[j][k] {
					differ++
				}
			}
			assert.GreaterOrEqual(t, differ, 8, "shapes %d and %d", i, j)
		}
	}
}

// The lines of the three kinds of curve have three different patterns.
func TestCurvesDifferByPattern(t *testing.T) {
	gaps := map[measure.EdgeKind]int{}
	for _, kind := range kinds() {
		p := NewPicture(grey(1600, 1200), 1)
		DrawPhoto(p, measure.Overlay{Curves: []measure.Curve{{
			Side: "left", Kind: kind, Points: []calib.Point{{X: 400, Y: 600}, {X: 1200, Y: 600}},
		}}})
		for x := 420; x < 1180; x++ {
			here, _, _ := ink(p, calib.Point{X: float64(x), Y: 600}, 0)
			next, _, _ := ink(p, calib.Point{X: float64(x + 1), Y: 600}, 0)
			if here > 0 && next == 0 {
				gaps[kind]++
			}
		}
	}
	assert.Zero(t, gaps[measure.TyreOuter], "solid")
	assert.NotZero(t, gaps[measure.TyreInner])
	assert.NotEqual(t, gaps[measure.TyreInner], gaps[measure.RimCircle])
	assert.NotZero(t, gaps[measure.RimCircle])
}

// The error line starts at the corner and shows 100 times the error.
func TestErrorLineIsToScale(t *testing.T) {
	p := NewPicture(grey(1600, 1200), 1)
	seen := calib.Point{X: 800.3, Y: 600}
	DrawPhoto(p, measure.Overlay{Corners: []measure.CornerMark{
		{Seen: seen, Fitted: calib.Point{X: 800, Y: 600}, Sheet: 1},
	}})
	last := 0
	for x := 800; x < 900; x++ {
		if n, _, _ := ink(p, calib.Point{X: float64(x), Y: 600}, 0); n > 0 {
			last = x
		}
	}
	assert.InDelta(t, seen.X+residualScale*0.3, float64(last), 1.5) // butt end, one pixel of shade
}

func TestMarksGrowWithThePhoto(t *testing.T) {
	count := func(width, height int) int {
		p := NewPicture(grey(width, height), 1)
		at := calib.Point{X: float64(width / 2), Y: float64(height / 2)}
		DrawPhoto(p, measure.Overlay{Edges: []measure.EdgeMark{{At: at, Used: true}}})
		n, _, _ := ink(p, at, 20)
		return n
	}
	// The area grows with the square, but for the half-covered pixels along the
	// mark's edge, which all count as changed: fewer than the edge is long.
	small, large := count(1600, 1200), count(6400, 4800)
	edge := 2 * math.Pi * 1.8 // the mark's radius with its dark edge, in units
	assert.GreaterOrEqual(t, float64(large), 16*(float64(small)-edge))
	assert.LessOrEqual(t, float64(large), 16*float64(small))
}

// The legend hides no mark as long as one corner of the photo is free.
func TestLegendKeepsOffTheMarks(t *testing.T) {
	for free := range 4 {
		var o measure.Overlay
		for i, at := range []calib.Point{{X: 60, Y: 60}, {X: 1540, Y: 60}, {X: 60, Y: 1140}, {X: 1540, Y: 1140}} {
			if i != free {
				o.Edges = append(o.Edges, measure.EdgeMark{At: at, Used: true})
			}
		}
		p := NewPicture(grey(1600, 1200), 1)
		DrawPhoto(p, o)
		for _, e := range o.Edges {
			n, cx, cy := ink(p, e.At, 9)
			assert.Less(t, n, 60, "only the mark, no panel")
			assert.Less(t, math.Hypot(cx-e.At.X, cy-e.At.Y), 0.2)
		}
	}
}

// Points that are nowhere do no harm, and break a curve.
func TestPointsThatAreNowhere(t *testing.T) {
	nan, far := calib.Point{X: math.NaN(), Y: 5}, calib.Point{X: 1e300, Y: -1e300}
	o := measure.Overlay{
		Corners: []measure.CornerMark{{Seen: nan}, {Seen: far}, {Seen: calib.Point{X: 900, Y: 900}, Fitted: far}},
		Edges:   []measure.EdgeMark{{At: nan}, {At: far, Used: true}},
		Curves: []measure.Curve{{Side: "left", Points: []calib.Point{
			{X: 500, Y: 500}, {X: 600, Y: 500}, nan, far, {X: 1000, Y: 500}, {X: 1100, Y: 500},
		}}},
	}
	p := NewPicture(grey(1600, 1200), 1)
	DrawPhoto(p, o)
	for x, drawn := range map[float64]bool{550: true, 800: false, 1050: true} {
		n, _, _ := ink(p, calib.Point{X: x, Y: 500}, 3)
		assert.Equal(t, drawn, n > 0, "at %v", x)
	}
}

// Of a phone's photo made as small as a tile, an outline still changes red by as much as
// one pixel from grey to black or white.
func TestOutlinesShowInSmallPictures(t *testing.T) {
	p := NewPicture(grey(4000, 3000), 1)
	line := measure.Curve{Side: "left", Points: []calib.Point{{X: 1000, Y: 1500}, {X: 3000, Y: 1500}}}
	DrawOutlines(p, []measure.Curve{line}, English())
	small := imaging.Resize(p.Upright, 480, 0, imaging.Box)
	changed := 0.0
	for y := range small.Rect.Dy() {
		changed += math.Abs(float64(small.NRGBAAt(320, y).R) - 128) // beside the name
	}
	assert.Greater(t, changed, 127.0)
}
