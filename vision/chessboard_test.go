package vision

import (
	"image"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"

	"rimpair/calib"
)

var nineBySix = calib.Chessboard{Columns: 9, Rows: 6, SquareMm: 25}

// drawChessboard draws a board with a white rim of one square on a grey ground as h
// maps it, blurred and with noise.
func drawChessboard(t *testing.T, board calib.Chessboard, width, height int, h homography, blur, noise float64) *Gray {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, 8))
	inverse := invert(h)
	halfX, halfY := float64(board.Columns+1)/2, float64(board.Rows+1)/2 // squares
	g := &Gray{Width: width, Height: height, Pix: make([]uint8, width*height)}
	const fine = 4 // points each way in a pixel
	for y := range height {
		for x := range width {
			sum := 0.0
			for k := range fine * fine {
				p := inverse.apply(calib.Point{
					X: float64(x) + (float64(k%fine)+0.5)/fine - 0.5, Y: float64(y) + (float64(k/fine)+0.5)/fine - 0.5,
				})
				column, row := p.X/board.SquareMm+halfX, p.Y/board.SquareMm+halfY
				switch {
				case column < -1 || row < -1 || column > 2*halfX+1 || row > 2*halfY+1:
					sum += 110
				case column > 0 && row > 0 && column < 2*halfX && row < 2*halfY && (int(column)+int(row))%2 == 0:
					sum += 30
				default:
					sum += 220
				}
			}
			g.Pix[y*width+x] = uint8(math.Round(sum / fine / fine))
		}
	}
	g = blurred(t, g, blur)
	for i, v := range g.Pix {
		g.Pix[i] = uint8(math.Min(math.Max(math.Round(float64(v)+noise*rng.NormFloat64()), 0), 255))
	}
	return g
}

// invert is the adjugate, which maps as the inverse does.
func invert(h homography) (inverse homography) {
	for i := range inverse {
		for j := range inverse {
			a, b, c, d := (j+1)%3, (j+2)%3, (i+1)%3, (i+2)%3
			inverse[i][j] = h[a][c]*h[b][d] - h[a][d]*h[b][c]
		}
	}
	return inverse
}

// Boards drawn with exactly known corners: found, numbered as the layout is, without
// bias, as near as the stated uncertainty says.
func TestChessboardDrawn(t *testing.T) {
	for _, c := range []struct {
		name          string
		board         calib.Chessboard
		width, height int
		h             homography
	}{
		// y runs up on the board and down in the picture.
		{"upright", nineBySix, 900, 700, homography{{2.4, 0.1, 447.3}, {0.05, -2.4, 351.6}, {0, 0, 1}}},
		{"tilted", nineBySix, 1000, 800, homography{{2.6, 0.9, 500.2}, {0.8, -2.2, 402.9}, {0.0012, 0.0007, 1}}},
		{"a quarter turned", nineBySix, 900, 900, homography{{0.1, 2.5, 455.5}, {2.5, -0.1, 444.8}, {0.0004, -0.0004, 1}}},
		{"odd by odd, large", calib.Chessboard{Columns: 7, Rows: 5, SquareMm: 30}, 3000, 2200, homography{{7, 0.9, 1500.3}, {0.7, -6.5, 1100.7}, {0.0004, -0.0005, 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := drawChessboard(t, c.board, c.width, c.height, c.h, 1, 2)
			corners, err := FindChessboard(g, c.board)
			require.NoError(t, err)
			require.Len(t, corners, c.board.Corners())
			first := corners[0]
			// The pattern looks the same from both ends of some boards: corner 0 may be the last.
			turned := distance(calib.Point{X: first.X, Y: first.Y}, onBoard(c.board, c.h, 0)) > 10
			var e spread
			for _, corner := range corners {
				i := corner.Index
				if turned {
					i = c.board.Corners() - 1 - i
				}
				truth := onBoard(c.board, c.h, i)
				e.add(corner.X-truth.X, corner.Y-truth.Y, corner.SigmaPx)
			}
			t.Logf("RMS %.4f px, in stated uncertainties %.2f", e.rms(), e.scaledRms())
			assert.Less(t, e.rms(), 0.05)
			// The stated uncertainty has room for a camera's correlated noise.
			assert.Less(t, e.scaledRms(), 1.1)
		})
	}
}

// spread accumulates differences of both coordinates.
type spread struct {
	n              int
	square, scaled float64
}

func (s *spread) add(dx, dy, sigma float64) {
	s.n += 2
	s.square += dx*dx + dy*dy
	s.scaled += (dx*dx + dy*dy) / (sigma * sigma)
}

func (s *spread) rms() float64       { return math.Sqrt(s.square / float64(s.n)) }
func (s *spread) scaledRms() float64 { return math.Sqrt(s.scaled / float64(s.n)) }

func onBoard(board calib.Chessboard, h homography, i int) calib.Point {
	p := board.CornerMm(i)
	return h.apply(calib.Point{X: p.X, Y: p.Y})
}

// On real photos (Debian package opencv-doc) the corners lie where OpenCV's own
// refinement puts them. Two estimates of noisy corners differ by some of the noise:
// the calibration of these corners leaves 0.2 px (left_intrinsics.yml there, the
// median photo).
func TestChessboardAgainstOpenCV(t *testing.T) {
	paths := chessboardPhotos(t)
	for _, path := range paths {
		photo, err := Load(path, DefaultLimits())
		require.NoError(t, err)
		corners, err := FindChessboard(photo.Gray, nineBySix)
		require.NoError(t, err, path)
		assert.GreaterOrEqual(t, len(corners), 50, path)

		picture, err := gocv.NewMatFromBytes(photo.Gray.Height, photo.Gray.Width, gocv.MatTypeCV8UC1, photo.Gray.Pix)
		require.NoError(t, err)
		theirs := gocv.NewMat()
		require.True(t, gocv.FindChessboardCorners(picture, image.Pt(9, 6), &theirs, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage))
		gocv.CornerSubPix(picture, &theirs, image.Pt(5, 5), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count|gocv.EPS, 100, 1e-6))
		var e spread
		for _, c := range corners {
			v := theirs.GetVecfAt(c.Index, 0)
			e.add(c.X-float64(v[0]), c.Y-float64(v[1]), c.SigmaPx)
		}
		t.Logf("%s: %d corners, RMS difference %.3f px", filepath.Base(path), len(corners), e.rms())
		assert.Less(t, e.rms(), 0.2, path)
		require.NoError(t, theirs.Close())
		require.NoError(t, picture.Close())
	}
}

func chessboardPhotos(t *testing.T) []string {
	t.Helper()
	root, required := os.LookupEnv("RIMPAIR_REFERENCES")
	if !required {
		root = "../.references"
	}
	paths, err := filepath.Glob(filepath.Join(root, "opencv", "left*.jpg"))
	require.NoError(t, err)
	if len(paths) == 0 {
		require.False(t, required, "no chessboard photos in %s", root)
		t.Skip("no chessboard photos: run tools/fetch-references")
	}
	return paths
}

func TestNoChessboard(t *testing.T) {
	noise := &Gray{Width: 1280, Height: 960, Pix: make([]uint8, 1280*960)}
	rng := rand.New(rand.NewPCG(9, 10))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(rng.IntN(256))
	}
	for name, g := range map[string]*Gray{
		"noise":       noise,
		"one pixel":   {Width: 1, Height: 1, Pix: []uint8{7}},
		"other board": drawChessboard(t, calib.Chessboard{Columns: 5, Rows: 4, SquareMm: 25}, 500, 400, homography{{2.4, 0, 250}, {0, -2.4, 200}, {0, 0, 1}}, 1, 0),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := FindChessboard(g, nineBySix)
			assertRefusal(t, "no_chessboard", err)
		})
	}
}
