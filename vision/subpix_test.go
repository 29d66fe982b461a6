package vision

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"

	"rimpair/calib"
)

// drawnCrossing is a crossing drawn with exact knowledge of its place.
type drawnCrossing struct {
	at          calib.Point
	axes        [4]float64
	brightFirst bool
	blur        float64
	black       float64 // linear light; white is 0.8
	shade       float64 // fall of light per pixel to the right
	gamma       float64 // of the camera
	noise       float64 // grey values
}

// draw renders it in linear light: the squares' colours at points around each
// pixel's centre, which are spread as the blur spreads the light, then the tone
// curve and noise.
func (d drawnCrossing) draw(rng *rand.Rand, points int) *Gray {
	const size = 56
	g := &Gray{Width: size, Height: size, Pix: make([]uint8, size*size)}
	spread := gaussianPoints(d.blur, points)
	for y := range size {
		for x := range size {
			light := 0.0
			for _, o := range spread {
				dx, dy := float64(x)+o.X-d.at.X, float64(y)+o.Y-d.at.Y
				// The signs of the sheet's coordinates; the determinant of axes is negative.
				u, v := -(d.axes[3]*dx - d.axes[1]*dy), -(d.axes[0]*dy - d.axes[2]*dx)
				if (u*v > 0) == d.brightFirst {
					light += 0.8
				} else {
					light += d.black
				}
			}
			light *= (1 - d.shade*float64(x)) / float64(len(spread))
			v := 255*math.Pow(light, 1/d.gamma) + d.noise*rng.NormFloat64()
			g.Pix[y*size+x] = uint8(math.Min(math.Max(math.Round(v), 0), 255))
		}
	}
	return g
}

// gaussianPoints are evenly spread points of a plane normal distribution, in
// opposite pairs: Roberts' R2 sequence through the Box-Muller transformation.
func gaussianPoints(sigma float64, n int) []calib.Point {
	const a1, a2 = 0.7548776662466927, 0.5698402909980532
	var all []calib.Point
	for i := range n / 2 {
		_, f1 := math.Modf(0.5 + a1*float64(i+1))
		_, f2 := math.Modf(0.5 + a2*float64(i+1))
		sin, cos := math.Sincos(2 * math.Pi * f2)
		r := sigma * math.Sqrt(-2*math.Log(1-f1))
		all = append(all, calib.Point{X: r * cos, Y: r * sin}, calib.Point{X: -r * cos, Y: -r * sin})
	}
	return all
}

// turnedAxes are the axes of a sheet seen turned by an angle and foreshortened.
func turnedAxes(angleRad, pxPerMm, foreshortening float64) [4]float64 {
	sin, cos := math.Sincos(angleRad)
	// Sheet x to the right, y upward: the picture's y runs downward.
	return [4]float64{pxPerMm * cos, pxPerMm * foreshortening * sin, pxPerMm * sin, -pxPerMm * foreshortening * cos}
}

// The fit on drawn crossings: placed to a hundredth of a pixel without noise,
// whatever the tone curve and the fall of light; the blur to 1 % in linear pictures.
func TestCrossingFit(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	base := drawnCrossing{at: calib.Point{X: 27.37, Y: 28.81}, axes: turnedAxes(0.3, 1.5, 0.7), brightFirst: true, blur: 1.1, black: 0.05, gamma: 1}
	for _, c := range []struct {
		name  string
		edit  func(*drawnCrossing)
		tol   float64
		plain bool // the model's own blur
	}{
		{"plain", func(*drawnCrossing) {}, 0.01, true},
		{"other colour", func(d *drawnCrossing) { d.brightFirst = false }, 0.01, true},
		{"upright", func(d *drawnCrossing) { d.axes = turnedAxes(0, 1.5, 1) }, 0.01, true},
		{"on a pixel", func(d *drawnCrossing) { d.at = calib.Point{X: 28, Y: 28} }, 0.01, true},
		{"upside down", func(d *drawnCrossing) { d.axes = turnedAxes(math.Pi, 1.5, 0.6) }, 0.01, true},
		{"aslant", func(d *drawnCrossing) { d.axes = [4]float64{1.5, 0.7, 0.1, -0.9} }, 0.01, false},
		{"more blur", func(d *drawnCrossing) { d.blur = 1.8 }, 0.01, true},
		{"tone curve", func(d *drawnCrossing) { d.gamma = 2.2 }, 0.01, false},
		{"fall of light", func(d *drawnCrossing) { d.shade = 0.005 }, 0.02, false},
		{"small squares", func(d *drawnCrossing) { d.axes = turnedAxes(0.3, 0.8, 0.8) }, 0.02, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := base
			c.edit(&d)
			g := d.draw(rng, 2000)
			expected := crossing{at: calib.Point{X: d.at.X + 1.2, Y: d.at.Y - 0.9}, axes: d.axes, brightFirst: d.brightFirst, armMm: 8}
			f, ok := g.fitCrossing(expected)
			require.True(t, ok)
			expected.at = f.at
			f, ok = g.fitCrossing(expected)
			require.True(t, ok)
			assert.InDelta(t, d.at.X, f.at.X, c.tol)
			assert.InDelta(t, d.at.Y, f.at.Y, c.tol)
			if c.plain {
				assert.InEpsilon(t, d.blur, f.blur, 0.01)
			}
			assert.Positive(t, f.contrast)
			assert.Less(t, f.misfit, misfitLeast)

			expected.brightFirst = !d.brightFirst
			_, ok = g.fitCrossing(expected)
			assert.False(t, ok, "the wrong way round")
		})
	}
}

// With independent noise, the fit's own sigma is the spread of its results.
func TestCrossingSigma(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const draws = 200
	var scaled, bias float64
	for range draws {
		d := drawnCrossing{
			at:          calib.Point{X: 27 + 2*rng.Float64(), Y: 27 + 2*rng.Float64()},
			axes:        turnedAxes(2*math.Pi*rng.Float64(), 1.2+rng.Float64(), 0.5+0.5*rng.Float64()),
			brightFirst: rng.IntN(2) == 0,
			blur:        0.8 + 0.6*rng.Float64(),
			black:       0.05, gamma: 1, noise: 4,
		}
		f, ok := d.draw(rng, 400).fitCrossing(crossing{at: d.at, axes: d.axes, brightFirst: d.brightFirst, armMm: 8})
		require.True(t, ok)
		dx, dy := f.at.X-d.at.X, f.at.Y-d.at.Y
		scaled += (dx*dx + dy*dy) / (2 * f.sigma * f.sigma)
		bias += (dx + dy) / f.sigma
	}
	// The mean of 400 squared standard normal numbers has a standard deviation of
	// √(2/400) = 0.07; three of them.
	assert.InDelta(t, 1, scaled/draws, 0.21)
	// And their mean one of √(400)/200 = 0.1 in the sum over both coordinates.
	assert.InDelta(t, 0, bias/draws, 0.3)
}

// Against OpenCV's cornerSubPix (gradients orthogonal to the lines to the corner,
// Förstner's idea), started at the same places, on a real corner's window of 7 px:
// two independent ways to the same corner agree to what each is good for.
func TestCornersAgainstOpenCVCornerSubPix(t *testing.T) {
	g := loadSample(t, "front.jpg")
	corners, err := FindSheets(g)
	require.NoError(t, err)
	corners = sheetCorners(corners, 1)
	picture, err := gocv.NewMatFromBytes(g.Height, g.Width, gocv.MatTypeCV8UC1, g.Pix)
	require.NoError(t, err)
	defer picture.Close()
	points := gocv.NewMatWithSize(len(corners), 1, gocv.MatTypeCV32FC2)
	defer points.Close()
	for i, c := range corners {
		points.SetFloatAt(i, 0, float32(c.X)+0.4)
		points.SetFloatAt(i, 1, float32(c.Y)-0.4)
	}
	gocv.CornerSubPix(picture, &points, image.Pt(7, 7), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count|gocv.EPS, 50, 1e-3))
	var square, sumX, sumY float64
	for i, c := range corners {
		v := points.GetVecfAt(i, 0)
		dx, dy := c.X-float64(v[0]), c.Y-float64(v[1])
		square += dx*dx + dy*dy
		sumX, sumY = sumX+dx, sumY+dy
	}
	n := float64(len(corners))
	// OpenCV's lie within 0.06 to 0.12 px RMS of the truth on such photos, ours within 0.04.
	assert.Less(t, math.Sqrt(square/(2*n)), 0.13)
	assert.InDelta(t, 0, sumX/n, 0.04)
	assert.InDelta(t, 0, sumY/n, 0.04)
}

func BenchmarkFindSheets(b *testing.B) {
	p, err := Load(samplePhotos+"front.jpg", DefaultLimits())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := FindSheets(p.Gray); err != nil {
			b.Fatal(err)
		}
	}
}

// Against math.Erf, and its derivative by definition, halfway between nodes and elsewhere.
func TestErf(t *testing.T) {
	for i := range 4001 {
		at := (float64(i)/2000 - 1) * farFromEdge / math.Sqrt2
		value, slope := erf(at)
		require.InDelta(t, math.Erf(at), value, 2e-8)
		require.InDelta(t, 2/math.SqrtPi*math.Exp(-at*at), slope, 3e-6)
	}
}
