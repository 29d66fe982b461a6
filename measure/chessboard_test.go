package measure

import (
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"

	"rimpair/calib"
	"rimpair/vision"
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

// chessPattern is the printed chessboard in OpenCV's sample photos. Its squares'
// true size changes no lens: any length will do.
var chessPattern = calib.Chessboard{Columns: 9, Rows: 6, SquareMm: 25}

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
		found := gocv.FindChessboardCorners(picture, image.Pt(chessPattern.Columns, chessPattern.Rows), &corners, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage)
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

// openCVCalibration is OpenCV's own calibration of the same corners by the same
// model: square pixels, k1 k2 p1 p2 k3.
func openCVCalibration(t *testing.T, boards []chessboard) (camera calib.Camera, rms float64) {
	t.Helper()
	var objects [][]gocv.Point3f
	var pictures [][]gocv.Point2f
	for _, b := range boards {
		var object []gocv.Point3f
		for i := range b.corners {
			p := chessPattern.CornerMm(i)
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

// chessSigmaPx is near what the corners' residuals are.
const chessSigmaPx = 0.1

// asInputs are the boards as photos.
func asInputs(boards []chessboard) (inputs []Input) {
	for i, b := range boards {
		in := Input{Photo: &vision.Photo{
			Path: fmt.Sprint(i), Gray: &vision.Gray{Width: b.size.X, Height: b.size.Y}, SHA256: [32]byte{byte(i)},
		}}
		for k, c := range b.corners {
			in.Corners = append(in.Corners, vision.Corner{Index: k, X: float64(c.X), Y: float64(c.Y), SigmaPx: chessSigmaPx})
		}
		inputs = append(inputs, in)
	}
	return inputs
}

// The lens model and the solver on real photos: chessboards of OpenCV's sample
// data (Debian package opencv-doc), against OpenCV's own calibration of the same
// corners by the same model, which takes the board for flat and exact and the lens for
// fixed.
func TestCalibrationOfChessboards(t *testing.T) {
	boards := readChessboards(t)
	theirs, theirRms := openCVCalibration(t, boards)

	c := newCalibration(chessPattern, lensModel{k3: true})
	c.inputs = asInputs(boards)
	require.NoError(t, c.place(c.startCamera()))
	c.fit = adjustment{layout: c.layout(), corners: c.corners}
	requireDerivatives(t, c.fit.problem(), c.scene, 1e-6)
	require.NoError(t, c.adjust(nil))
	ours, rms := c.scene.Cameras[0], c.rmsPx()
	t.Logf("ours   rms %.6f px, %+v, %d iterations, condition %.0e", rms, ours, c.solved.Iterations, c.solved.Condition)
	t.Logf("theirs rms %.6f px, %+v", theirRms, theirs)

	require.InDelta(t, theirRms, math.Sqrt2*rms, 1e-5, "theirs is of both coordinates")
	for i, number := range ours.Numbers() {
		uncertainty := rms / chessSigmaPx * math.Sqrt(c.solved.Covariance.At(i, i))
		t.Logf("%s: ours %.6f ± %.6f, theirs %.6f", calib.IntrinsicNames()[i], *number, uncertainty, *theirs.Numbers()[i])
		require.InDelta(t, *theirs.Numbers()[i], *number, 0.01*uncertainty)
	}
}
