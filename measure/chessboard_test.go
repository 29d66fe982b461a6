package measure

import (
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// referenceFile is a file that tools/fetch-references fetched. Without it the test
// is skipped, unless RIMPAIR_REFERENCES says that the files must be there.
func referenceFile(t *testing.T, name string) string {
	t.Helper()
	root, required := os.LookupEnv("RIMPAIR_REFERENCES")
	if !required {
		root = "../.references"
	}
	path := filepath.Join(root, name)
	if _, err := os.Stat(path); err != nil {
		require.False(t, required, "%s is missing", path)
		t.Skipf("%s is missing: run tools/fetch-references", path)
	}
	return path
}

// Inner corners of the printed chessboard in OpenCV's sample photos. Its squares'
// true size changes no lens: any length will do.
const chessColumns, chessRows, chessSquareMm = 9, 6, 25.0

// chessboard is one photo of it.
type chessboard struct {
	corners []gocv.Point2f
	size    image.Point
}

// readChessboards finds the corners in all of the photos left01.jpg … left14.jpg
// of the Debian package opencv-doc.
func readChessboards(t *testing.T) (boards []chessboard) {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(filepath.Dir(referenceFile(t, "opencv/left01.jpg")), "left*.jpg"))
	require.NoError(t, err)
	require.Len(t, paths, 13) // there is no left10
	for _, path := range paths {
		picture := gocv.IMRead(path, gocv.IMReadGrayScale)
		corners := gocv.NewMat()
		found := gocv.FindChessboardCorners(picture, image.Pt(chessColumns, chessRows), &corners, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage)
		require.True(t, found, path)
		gocv.CornerSubPix(picture, &corners, image.Pt(5, 5), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count|gocv.EPS, 100, 1e-6))
		board := chessboard{size: image.Pt(picture.Cols(), picture.Rows())}
		for i := range corners.Rows() {
			v := corners.GetVecfAt(i, 0)
			board.corners = append(board.corners, gocv.Point2f{X: v[0], Y: v[1]})
		}
		require.NoError(t, corners.Close())
		require.NoError(t, picture.Close())
		boards = append(boards, board)
	}
	return boards
}

// chessCorner is corner i on the board, y up the page like a sheet's.
func chessCorner(i int) r3.Vec {
	return r3.Vec{X: float64(i%chessColumns) * chessSquareMm, Y: -float64(i/chessColumns) * chessSquareMm}
}

// openCVCalibration is OpenCV's own calibration of the same corners by the same
// model: square pixels, k1 k2 p1 p2 k3.
func openCVCalibration(t *testing.T, boards []chessboard) (camera calib.Camera, rms float64) {
	t.Helper()
	var objects [][]gocv.Point3f
	var pictures [][]gocv.Point2f
	for _, b := range boards {
		var object []gocv.Point3f
		for i := range b.corners {
			p := chessCorner(i)
			object = append(object, gocv.Point3f{X: float32(p.X), Y: float32(p.Y)})
		}
		objects, pictures = append(objects, object), append(pictures, b.corners)
	}
	objectVector, pictureVector := gocv.NewPoints3fVectorFromPoints(objects), gocv.NewPoints2fVectorFromPoints(pictures)
	defer objectVector.Close()
	defer pictureVector.Close()
	matrix, distortion, turns, shifts := gocv.Eye(3, 3, gocv.MatTypeCV64F), gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer matrix.Close()
	defer distortion.Close()
	defer turns.Close()
	defer shifts.Close()
	const fixAspectRatio = 2 // cv::CALIB_FIX_ASPECT_RATIO, to which gocv gives no name
	rms = gocv.CalibrateCamera(objectVector, pictureVector, boards[0].size, &matrix, &distortion, &turns, &shifts, fixAspectRatio)
	require.InDelta(t, matrix.GetDoubleAt(0, 0), matrix.GetDoubleAt(1, 1), 1e-9, "square pixels")
	k := func(i int) float64 { return distortion.GetDoubleAt(0, i) }
	return calib.Camera{
		F: matrix.GetDoubleAt(0, 0), Cx: matrix.GetDoubleAt(0, 2), Cy: matrix.GetDoubleAt(1, 2),
		K1: k(0), K2: k(1), P1: k(2), P2: k(3), K3: k(4),
	}, rms
}

// lensState is a camera and where it stood for each board.
type lensState struct {
	camera calib.Camera
	poses  []calib.Pose
}

const lensUnknowns = calib.NumIntrinsics // then six for each pose

// lensProblem calibrates the camera with a σ of 1 px.
func lensProblem(boards []chessboard) Problem[lensState] {
	return Problem[lensState]{
		Unknowns: lensUnknowns + 6*len(boards),
		Plus: func(s lensState, d []float64) lensState {
			c := s.camera
			moved := lensState{camera: calib.Camera{
				F: c.F + d[0], Cx: c.Cx + d[1], Cy: c.Cy + d[2],
				K1: c.K1 + d[3], K2: c.K2 + d[4], P1: c.P1 + d[5], P2: c.P2 + d[6], K3: c.K3 + d[7],
			}}
			for i, p := range s.poses {
				e := d[lensUnknowns+6*i:]
				moved.poses = append(moved.poses, p.Perturb(r3.Vec{X: e[0], Y: e[1], Z: e[2]}, r3.Vec{X: e[3], Y: e[4], Z: e[5]}))
			}
			return moved
		},
		Rows: func(s lensState, emit func(Row)) bool {
			for i, board := range boards {
				var cols []int
				for k := range lensUnknowns {
					cols = append(cols, k)
				}
				for k := range 6 {
					cols = append(cols, lensUnknowns+6*i+k)
				}
				for k, seen := range board.corners {
					turned := s.poses[i].R.Apply(chessCorner(k))
					v := r3.Add(turned, s.poses[i].T)
					q, j, ok := s.camera.ProjectJacobian(v)
					if !ok {
						return false
					}
					for axis, residual := range [2]float64{q.X - float64(seen.X), q.Y - float64(seen.Y)} {
						g := r3.Vec{X: j.Point[axis][0], Y: j.Point[axis][1], Z: j.Point[axis][2]}
						w := r3.Cross(turned, g)
						derivs := append([]float64(nil), j.Intrinsics[axis][:]...)
						emit(Row{Cols: cols, Derivs: append(derivs, w.X, w.Y, w.Z, g.X, g.Y, g.Z), Residual: residual})
					}
				}
			}
			return true
		},
	}
}

// lensStart guesses the camera from the picture's size and places it before each
// board.
func lensStart(t *testing.T, boards []chessboard) lensState {
	t.Helper()
	size := boards[0].size
	s := lensState{camera: calib.Camera{F: float64(size.X), Cx: float64(size.X-1) / 2, Cy: float64(size.Y-1) / 2}}
	for _, b := range boards {
		var points, rays []r3.Vec
		for i, c := range b.corners {
			ray, ok := s.camera.Ray(calib.Point{X: float64(c.X), Y: float64(c.Y)})
			require.True(t, ok)
			points, rays = append(points, chessCorner(i)), append(rays, ray)
		}
		pose, ok := planePose(points, rays)
		require.True(t, ok)
		s.poses = append(s.poses, pose)
	}
	return s
}

// The lens model and the solver on real photos: chessboards of OpenCV's sample
// data (Debian package opencv-doc), against OpenCV's own calibration of the same
// corners by the same model.
func TestCalibrationOfChessboards(t *testing.T) {
	boards := readChessboards(t)
	theirs, theirRms := openCVCalibration(t, boards)

	start := lensStart(t, boards)
	problem := lensProblem(boards)
	requireDerivatives(t, problem, start, 1e-6)
	s, err := Solve(problem, start, Options{})
	require.NoError(t, err)
	ours, rms := s.State.camera, math.Sqrt(2*s.Cost/float64(s.Rows/2))
	t.Logf("ours   rms %.6f px, %+v, %d iterations, condition %.0e", rms, ours, s.Iterations, s.Condition)
	t.Logf("theirs rms %.6f px, %+v", theirRms, theirs)

	require.InDelta(t, theirRms, rms, 1e-5)
	sigma := rms / math.Sqrt2
	theirNumbers := []float64{theirs.F, theirs.Cx, theirs.Cy, theirs.K1, theirs.K2, theirs.P1, theirs.P2, theirs.K3}
	for i, number := range []float64{ours.F, ours.Cx, ours.Cy, ours.K1, ours.K2, ours.P1, ours.P2, ours.K3} {
		uncertainty := sigma * math.Sqrt(s.Covariance.At(i, i))
		t.Logf("number %d: ours %.6f ± %.6f, theirs %.6f", i, number, uncertainty, theirNumbers[i])
		require.InDelta(t, theirNumbers[i], number, 0.01*uncertainty)
	}
}
