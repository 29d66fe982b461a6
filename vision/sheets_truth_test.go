package vision_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/samples"
	"rimpair/vision"
)

// truthFiles lists the sample photos' truth, and that of the whole folder that
// RIMPAIR_PHOTOS names.
func truthFiles(t *testing.T) []string {
	if dir := os.Getenv("RIMPAIR_PHOTOS"); dir != "" {
		files, err := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
		require.NoError(t, err)
		require.NotEmpty(t, files)
		return files
	}
	return []string{"../samples/photos/plan-bench/truth.json"}
}

func readTruth(t *testing.T, file string) samples.Truth {
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	var truth samples.Truth
	require.NoError(t, json.Unmarshal(raw, &truth))
	return truth
}

// curl is the share of a page corner's lift by which the outermost board corner
// beside it is lifted, by their residuals in all photos (0.09 ± 0.005 each); no
// other board corner shows any of it. The lifts are listed in the order of curled.
const curl = 0.09

func curled() map[int]int {
	const left, right = 0, calib.CornerColumns - 1
	const top, bottom = 0, calib.SheetCorners - calib.CornerColumns
	return map[int]int{bottom + left: 0, bottom + right: 1, top + right: 2, top + left: 3}
}

// truePixel is where a corner of a sheet really is in a photo.
func truePixel(t *testing.T, s samples.SheetTruth, p samples.PhotoTruth, index int) calib.Point {
	c := calib.CornerMm(index)
	sin, cos := math.Sincos(s.YawDeg * math.Pi / 180)
	x, y := c.X*s.ScaleX, c.Y*s.ScaleY
	world := r3.Vec{X: s.XMm + x*cos - y*sin, Y: s.YMm + x*sin + y*cos, Z: s.ZMm}
	if k, ok := curled()[index]; ok {
		world.Z += curl * s.CornerLift[k]
	}
	place := r3.Vec{X: p.CameraPositionMm[0], Y: p.CameraPositionMm[1], Z: p.CameraPositionMm[2]}
	k := p.CameraMatrix
	camera := calib.Camera{
		F: k[0][0], Cx: k[0][2], Cy: k[1][2],
		K1: p.Distortion[0], K2: p.Distortion[1], P1: p.Distortion[2], P2: p.Distortion[3], K3: p.Distortion[4],
	}
	pixel, ok := camera.Project(calib.Rot(p.R).Apply(r3.Sub(world, place)))
	require.True(t, ok)
	return pixel
}

// errorStatistics sums up corners against their truth.
type errorStatistics struct {
	n            int
	sumX, sumY   float64
	square       float64 // of both coordinates
	scaledSquare float64 // the same over sigma²
	worst        float64
	far          int // more than 0.5 px off
}

func (e *errorStatistics) add(dx, dy, sigma float64) {
	e.n++
	e.sumX += dx
	e.sumY += dy
	e.square += dx*dx + dy*dy
	e.scaledSquare += (dx*dx + dy*dy) / (sigma * sigma)
	d := math.Hypot(dx, dy)
	e.worst = math.Max(e.worst, d)
	if d > 0.5 {
		e.far++
	}
}

func (e *errorStatistics) rms() float64    { return math.Sqrt(e.square / float64(2*e.n)) }
func (e *errorStatistics) scaled() float64 { return math.Sqrt(e.scaledSquare / float64(2*e.n)) }

// Corners against the truth of rendered photos. What is asked of each photo: no
// false corner, an RMS below the 0.12 px that a 7 px window of gradient-based
// refinement reaches on the same photos; of all together: no bias, and an honest
// sigma.
func TestCornersAgainstTruth(t *testing.T) {
	var all errorStatistics
	for _, file := range truthFiles(t) {
		truth := readTruth(t, file)
		sheets := map[int]samples.SheetTruth{}
		for _, s := range truth.Sheets {
			sheets[s.Number] = s
		}
		for _, photo := range truth.Photos {
			name := filepath.Join(filepath.Base(filepath.Dir(file)), photo.File)
			p, err := vision.Load(filepath.Join(filepath.Dir(file), photo.File), vision.DefaultLimits())
			require.NoError(t, err)
			corners, err := vision.FindSheets(p.Gray)
			if strings.HasPrefix(name, "nosheet") { // the truth tells where the sheet would lie
				var refusal *vision.Refusal
				require.ErrorAs(t, err, &refusal, name)
				assert.Equal(t, "no_sheet", refusal.Code)
				continue
			}
			require.NoError(t, err, name)
			var one errorStatistics
			for _, c := range corners {
				s, ok := sheets[c.Sheet]
				require.True(t, ok, "%s: no sheet %d lies there", name, c.Sheet)
				q := truePixel(t, s, photo, c.Index)
				one.add(c.X-q.X, c.Y-q.Y, c.SigmaPx)
				all.add(c.X-q.X, c.Y-q.Y, c.SigmaPx)
			}
			t.Logf("%-36s %2d corners, RMS %.3f px, mean %+.3f %+.3f, worst %.2f, over sigma %.2f, squares %.0f px, blur %.2f px",
				name, one.n, one.rms(), one.sumX/float64(one.n), one.sumY/float64(one.n), one.worst, one.scaled(),
				vision.SquarePx(corners, corners[0].Sheet), vision.BlurPx(corners))
			assert.Zero(t, one.far, name)
			assert.Less(t, one.rms(), 0.12, name)
			// 3 % for the focal length is what the adjustment's prior allows for.
			assert.InEpsilon(t, photo.CameraMatrix[0][0], p.FocalPx, 0.03, name)
		}
	}
	t.Logf("all: %d corners, RMS %.3f px, mean %+.4f %+.4f, worst %.2f, over sigma %.2f",
		all.n, all.rms(), all.sumX/float64(all.n), all.sumY/float64(all.n), all.worst, all.scaled())
	assert.InDelta(t, 0, all.sumX/float64(all.n), 0.02)
	assert.InDelta(t, 0, all.sumY/float64(all.n), 0.02)
	// Sigma is honest on average over all photos; one set may be better or worse by a
	// third, since sets differ in sharpening, shake and JPEG quality.
	assert.InDelta(t, 1, all.scaled(), 0.33)
}

// All corners that the sample photos show clearly are found: counted by eye.
func TestCornersFound(t *testing.T) {
	const dir = "../samples/photos/plan-bench/"
	for _, c := range []struct {
		photo string
		sheet int
		least int
	}{
		{"front.jpg", 1, 24},
		{"front.jpg", 2, 19},
		{"rear.jpg", 2, 18},
		{"above.jpg", 1, 24},
		{"above.jpg", 2, 11},
	} {
		p, err := vision.Load(dir+c.photo, vision.DefaultLimits())
		require.NoError(t, err)
		corners, err := vision.FindSheets(p.Gray)
		require.NoError(t, err)
		n := 0
		for _, k := range corners {
			if k.Sheet == c.sheet {
				n++
			}
		}
		assert.GreaterOrEqual(t, n, c.least, "%s, sheet %d", c.photo, c.sheet)
		assert.True(t, sort.SliceIsSorted(corners, func(i, j int) bool {
			a, b := corners[i], corners[j]
			return a.Sheet < b.Sheet || a.Sheet == b.Sheet && a.Index < b.Index
		}))
	}
}

// A sheet seen from afar, of whose small markers some do not agree with the others, is one sheet:
// it passed for two (1004020).
func TestFarSheetIsOne(t *testing.T) {
	scene := samples.NewScene(1004020, samples.Options{})
	require.Equal(t, "rear", scene.Shots[1].Name)
	file, err := scene.Photo(1)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "rear.jpg")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	photo, err := vision.Load(path, vision.DefaultLimits())
	require.NoError(t, err)
	corners, err := vision.FindSheets(photo.Gray)
	require.NoError(t, err)
	seen := map[int]int{}
	for _, c := range corners {
		seen[c.Sheet]++
	}
	assert.Len(t, seen, 2)
	assert.Greater(t, seen[1], 20)
}
