package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// stand is how a phone was held over a sheet: tilted about the picture's two axes and
// turned in its plane, in degrees, the sheet's middle at a place in the picture (0, 0
// its middle, ±1 its edges).
type stand struct{ across, upright, turn, x, y float64 }

// plannedStands are what the command's help asks for.
func plannedStands() []stand {
	return []stand{
		{0, 0, 0, 0, 0}, {5, 0, 90, 0.5, 0.3}, {35, 0, 0, -0.4, 0}, {-35, 5, 90, 0.4, 0.2},
		{0, 35, 90, 0, 0.3}, {0, -35, 0, 0.3, -0.3}, {25, 25, 45, -0.4, -0.3}, {-25, 25, 135, 0.4, -0.3},
		{30, -25, 0, -0.4, 0.4}, {-30, -25, 90, 0.4, 0.4},
	}
}

const (
	drawnWidth, drawnHeight = 4000, 3000
	drawnDistanceMm         = 420.0
	drawnSigmaPx            = 0.04
)

// drawnCamera is an invented phone's.
var drawnCamera = calib.Camera{F: 3080, Cx: 1985, Cy: 1512, K1: -0.03, K2: -0.1, P1: 1.3e-4, P2: 2.4e-4}

// shots are the corners of sheet 1 that a camera sees from each stand, with everything
// that the calibration knows of drawn from its prior.
func shots(t *testing.T, g *rand.Rand, camera calib.Camera, stands []stand) []Input {
	t.Helper()
	sheet := newSheet(1, calib.Pose{R: calib.Identity()})
	sheet.ScaleX += printSigma * g.NormFloat64()
	sheet.ScaleY += printSigma * g.NormFloat64()
	for k := range sheet.Warp {
		sheet.Warp[k] = warpSigmaMm * g.NormFloat64()
	}
	sheet.Bumps = drawBumps(t, g, &sheet)
	var inputs []Input
	for i, st := range stands {
		c := camera
		c.F *= 1 + zoomSigma*g.NormFloat64()
		c.Cx += shiftSigma * drawnWidth * g.NormFloat64()
		c.Cy += shiftSigma * drawnWidth * g.NormFloat64()
		ray, ok := c.Ray(calib.Point{X: (1 + st.x) * drawnWidth / 2, Y: (1 + st.y) * drawnHeight / 2})
		require.True(t, ok)
		// The printed side towards the camera: half a turn about x.
		faced := calib.RotFromVector(r3.Vec{X: math.Pi})
		turned := calib.RotFromVector(r3.Vec{Z: st.turn / degPerRad})
		tilted := calib.RotFromVector(r3.Vec{Y: st.upright / degPerRad}).Mul(calib.RotFromVector(r3.Vec{X: st.across / degPerRad}))
		pose := calib.Pose{R: tilted.Mul(turned).Mul(faced), T: r3.Scale(drawnDistanceMm, ray)}
		in := Input{Photo: &vision.Photo{
			Path: fmt.Sprintf("photo%02d.jpg", i+1), Gray: &vision.Gray{Width: drawnWidth, Height: drawnHeight},
			FocalPx: 1.01 * camera.F, SHA256: [32]byte{byte(i), 1},
			Camera: vision.CameraID{Make: "Aster", Model: "A1", FocalMm: 5.1, Focal35Mm: 26, Width: drawnWidth, Height: drawnHeight},
		}}
		for k := range calib.SheetCorners {
			p, ok := c.Project(pose.Apply(sheet.onPaper(k)))
			p.X += drawnSigmaPx * g.NormFloat64()
			p.Y += drawnSigmaPx * g.NormFloat64()
			if ok && p.X > 10 && p.Y > 10 && p.X < drawnWidth-10 && p.Y < drawnHeight-10 {
				in.Corners = append(in.Corners, vision.Corner{Sheet: 1, Index: k, X: p.X, Y: p.Y, SigmaPx: drawnSigmaPx, BlurPx: 1})
			}
		}
		inputs = append(inputs, in)
	}
	return inputs
}

// drawBumps draws a print's offsets from what is known of them.
func drawBumps(t *testing.T, g *rand.Rand, sheet *SheetState) []r3.Vec {
	t.Helper()
	var corners []r3.Vec
	for i := range calib.SheetCorners {
		corners = append(corners, sheet.cornerMm(i))
	}
	bumps := make([]r3.Vec, len(corners))
	for axis := range 3 {
		var factor mat.Cholesky
		require.True(t, factor.Factorize(paperCovariance(corners, axis)))
		var lower mat.TriDense
		factor.LTo(&lower)
		var white []float64
		for range corners {
			white = append(white, g.NormFloat64())
		}
		var drawn mat.VecDense
		drawn.MulVec(&lower, mat.NewVecDense(len(white), white))
		for i := range bumps {
			*[...]*float64{&bumps[i].X, &bumps[i].Y, &bumps[i].Z}[axis] = drawn.AtVec(i)
		}
	}
	return bumps
}

// Of many sets of photos the stated intervals hold the true camera in 95 %, each of
// its numbers, and all seven together by χ² (its 95 % point for 7 degrees of freedom,
// 14.067, from the usual tables). RIMPAIR_DRAWS sets how many, then from a fresh seed.
func TestCalibrationCoverage(t *testing.T) {
	draws, seed := 200, uint64(11)
	if text := os.Getenv("RIMPAIR_DRAWS"); text != "" {
		var err error
		draws, err = strconv.Atoi(text)
		require.NoError(t, err)
		seed = uint64(time.Now().UnixNano())
	}
	g := rand.New(rand.NewPCG(seed, 2))
	var inside [calib.NumIntrinsics - 1]int
	var jointly, k3 int
	for range draws {
		c, err := Calibrate(shots(t, g, drawnCamera, plannedStands()), nil, calib.Chessboard{})
		require.NoError(t, err)
		require.Empty(t, c.Dropped)
		n := c.Covariance.SymmetricDim()
		k3 += count(n == calib.NumIntrinsics)
		off := mat.NewVecDense(n, nil)
		truth := drawnCamera
		for i := range n {
			off.SetVec(i, *c.Camera.Numbers()[i]-*truth.Numbers()[i])
		}
		for i := range inside {
			inside[i] += count(math.Abs(off.AtVec(i)) <= coverage95*math.Sqrt(c.Covariance.At(i, i)))
		}
		if n == len(inside) {
			var inverse mat.Cholesky
			require.True(t, inverse.Factorize(c.Covariance))
			var solved mat.VecDense
			require.NoError(t, inverse.SolveVecTo(&solved, off))
			jointly += count(mat.Dot(off, &solved) <= 14.067)
		}
	}
	// The limits of the project, and besides what chance does to so many draws (two
	// standard deviations of the binomial distribution).
	tolerance := 0.02 + 2*math.Sqrt(0.95*0.05/float64(draws))
	for i, n := range inside {
		share := float64(n) / float64(draws)
		t.Logf("seed %d: %s in 95 %%: %.1f %%", seed, calib.IntrinsicNames()[i], 100*share)
		assert.InDelta(t, 0.95, share, tolerance, calib.IntrinsicNames()[i])
	}
	t.Logf("all seven together: %.1f %%; k3, which is zero, was kept in %d of %d", 100*float64(jointly)/float64(draws-k3), k3, draws)
	assert.InDelta(t, 0.95, float64(jointly)/float64(draws-k3), tolerance)
	// Three standard uncertainties are passed by chance in 0.3 %.
	assert.LessOrEqual(t, float64(k3)/float64(draws), 0.003+3*math.Sqrt(0.003/float64(draws)))
}

// Sets that cannot determine a camera are refused, and the view that is missing is
// named (which sets those are: Sturm and Maybank, "On plane-based camera
// calibration", CVPR 1999: planes that are all parallel to each other or to the
// picture).
func TestCalibrationNamesMissingViews(t *testing.T) {
	every := func(edit func(*stand)) []stand {
		stands := plannedStands()
		for i := range stands {
			edit(&stands[i])
		}
		return stands
	}
	for _, c := range []struct {
		name   string
		stands []stand
		wanted []string
	}{
		{"all straight on", every(func(s *stand) { s.across, s.upright = 0, 0 }), []string{"about both axes"}},
		{"nearly straight on", every(func(s *stand) { s.across /= 10; s.upright /= 10 }), []string{"about both axes"}},
		{"one pose", every(func(s *stand) { s.across, s.upright, s.turn = 30, 20, 0 }), []string{"about both axes", "turned by a quarter"}},
		{"a little about one axis", every(func(s *stand) { s.across, s.upright, s.turn = s.across/4, 0, 0 }), []string{"about both axes", "turned by a quarter"}},
		{"always in the middle, and far", every(func(s *stand) { s.x, s.y = 0, 0 }), []string{"corners: top left, top right, bottom left, bottom right"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Calibrate(shots(t, rand.New(rand.NewPCG(5, 6)), drawnCamera, c.stands), nil, calib.Chessboard{})
			var refusal *vision.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, "views_missing", refusal.Code)
			for _, words := range c.wanted {
				assert.Contains(t, refusal.Remedy, words)
			}
		})
	}
}

// Bad photos are dropped, each by its name with the reason, and the rest calibrates.
func TestCalibrationDropsBadPhotos(t *testing.T) {
	good := func(seed uint64) []Input {
		return shots(t, rand.New(rand.NewPCG(seed, 3)), drawnCamera, plannedStands())
	}
	for name, c := range map[string]struct {
		spoil func(in *Input)
		words string
	}{
		"another phone": {func(in *Input) { in.Photo.Camera.Model = "B2" }, "another camera"},
		"zoomed":        {func(in *Input) { in.Photo.Camera.Focal35Mm = 52 }, "zoom"},
		"twice":         {func(in *Input) { in.Photo.SHA256 = [32]byte{0, 1} }, "the same photo as photo01.jpg"},
		"blurred": {func(in *Input) {
			for i := range in.Corners {
				in.Corners[i].BlurPx = 6
			}
		}, "blurred"},
		"few corners": {func(in *Input) { in.Corners = in.Corners[:5] }, "too few corners"},
		"bent sheet": {func(in *Input) {
			for i := range in.Corners {
				p := calib.CornerMm(in.Corners[i].Index)
				in.Corners[i].Y += 12 * p.X * p.X * p.Y / (boardHalfX * boardHalfX * boardHalfY)
			}
		}, "does not fit"},
		"no flat sheet": {func(in *Input) {
			for i := range in.Corners {
				in.Corners[i].X = float64(drawnWidth) - in.Corners[i].X // mirrored
			}
		}, "no flat sheet"},
	} {
		t.Run(name, func(t *testing.T) {
			inputs := good(7)
			c.spoil(&inputs[4])
			got, err := Calibrate(inputs, []Dropped{{"notes.txt", "no photo"}}, calib.Chessboard{})
			require.NoError(t, err)
			require.Len(t, got.Dropped, 2, "%v", got.Dropped)
			assert.Equal(t, Dropped{"notes.txt", "no photo"}, got.Dropped[0])
			assert.Equal(t, "photo05.jpg", got.Dropped[1].Photo)
			assert.Contains(t, got.Dropped[1].Reason, c.words)
			assert.Len(t, got.Used, len(inputs)-1)
			assert.InDelta(t, drawnCamera.F, got.Camera.F, 4*math.Sqrt(got.Covariance.At(0, 0)))
		})
	}
	t.Run("too few are left", func(t *testing.T) {
		inputs := good(8)
		for i := range 3 {
			inputs[i].Photo.Camera.Model = "B2"
		}
		_, err := Calibrate(inputs, nil, calib.Chessboard{})
		var refusal *vision.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, "too_few_views", refusal.Code)
		assert.Contains(t, refusal.Reason, "photo02.jpg: taken with another camera")
	})
	t.Run("none", func(t *testing.T) {
		_, err := Calibrate(nil, nil, calib.Chessboard{})
		assert.Error(t, err)
	})
}

// k3 is kept where the photos show one, and then the truth lies in its interval too.
func TestCalibrationFindsK3(t *testing.T) {
	camera := drawnCamera
	camera.K3 = 0.25
	c, err := Calibrate(shots(t, rand.New(rand.NewPCG(4, 5)), camera, plannedStands()), nil, calib.Chessboard{})
	require.NoError(t, err)
	require.Equal(t, calib.NumIntrinsics, c.Covariance.SymmetricDim())
	for i, truth := range camera.Numbers() {
		assert.InDelta(t, *truth, *c.Camera.Numbers()[i], 4*math.Sqrt(c.Covariance.At(i, i)), calib.IntrinsicNames()[i])
	}
	p := c.Profile("2026-05-01")
	assert.Equal(t, "k3", p.Parameters[7])
	assert.Len(t, p.PhotoHashes, len(plannedStands()))
}

// Derivatives of the whole model, two sheets in a photo among them, agree with
// differences.
func TestCalibrationDerivatives(t *testing.T) {
	inputs := shots(t, rand.New(rand.NewPCG(6, 7)), drawnCamera, plannedStands())
	for _, corner := range inputs[1].Corners { // a second sheet beside the first
		corner.Sheet, corner.X = 2, corner.X/2
		inputs[0].Corners = append(inputs[0].Corners, corner)
	}
	model := wholeLens
	model.k3 = true
	c := newCalibration(calib.Chessboard{}, model)
	c.inputs = inputs
	require.NoError(t, c.place(c.startCamera()))
	require.Len(t, c.scene.Sheets, len(inputs)+1)
	c.fit = adjustment{layout: c.layout(), corners: c.corners}
	c.fit.priors = c.priors(&c.fit.layout)
	requireDerivatives(t, c.fit.problem(), c.scene, 1e-6)
}

// Without EXIF the targets' perspective gives a start that the adjustment reaches the
// same camera from.
func TestCalibrationWithoutExif(t *testing.T) {
	inputs := shots(t, rand.New(rand.NewPCG(8, 9)), drawnCamera, plannedStands())
	with, err := Calibrate(inputs, nil, calib.Chessboard{})
	require.NoError(t, err)
	for i := range inputs {
		inputs[i].Photo.FocalPx = 0
	}
	without, err := Calibrate(inputs, nil, calib.Chessboard{})
	require.NoError(t, err)
	for i := range with.Covariance.SymmetricDim() {
		assert.InDelta(t, *with.Camera.Numbers()[i], *without.Camera.Numbers()[i], 0.02*math.Sqrt(with.Covariance.At(i, i)))
	}
}
