package measure

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	drawn "rimpair/samples"
)

// This file says what an error of total toe is made of. Where the truth is known, each
// observation's and prior's own error is: its residual r at the true scene. Around the
// solution, with the weights W that it was given there, they move total toe by −gᵀ C Jᵀ W r
// (see budget.go), and together by all that it is off. A line of the budget is that sum's
// share of one source; what is stated of it is its standard uncertainty.

// The sum of the lines is the error, up to the second order, and no line is far outside of
// what is stated. RIMPAIR_PHOTOS=DIR takes the sets in DIR in place of the sample photos;
// with -v it prints their lines: which are too wide, which too narrow.
func TestErrorIsTheSumOfItsLines(t *testing.T) {
	folders := []string{samplePhotos}
	if dir := os.Getenv("RIMPAIR_PHOTOS"); dir != "" {
		files, err := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
		require.NoError(t, err)
		folders = nil
		for _, file := range files {
			folders = append(folders, filepath.Dir(file))
		}
	}
	for _, folder := range folders {
		t.Run(filepath.Base(folder), func(t *testing.T) { explainError(t, folder) })
	}
}

// explainError measures the first state of a set.
func explainError(t *testing.T, folder string) {
	truth := truthIn(t, folder)
	photos := firstState(truth.Photos)
	if len(photos) == 0 || photos[0].State.Wheels.L.TyreWidthMm == 0 {
		t.Skip("the truth says nothing of the tyres")
	}
	var names []string
	for _, p := range photos {
		names = append(names, p.File)
	}
	inputs := inputsIn(t, folder, names...)
	order := byContent(inputs)
	m, f, err := settle(arranged(inputs, order), Settings{BeadSeatMm: photos[0].State.Wheels.L.BeadSeatMm})
	if err != nil {
		t.Skip(err)
	}
	off := m.totalToeMm(f.scene) - photos[0].State.RimTotalToeMm
	gradient := f.gradient(m.totalToeMm)
	moved, ok := f.movedBy(gradient, trueScene(f.scene, truth.Sheets, arranged(photos, order)))
	require.True(t, ok)
	sum := 0.0
	var table strings.Builder
	for _, line := range f.lines(gradient) {
		sum += moved[line.Code]
		fmt.Fprintf(&table, "%-18s %+.3f mm, stated %.3f\n", line.Code, moved[line.Code], line.ContributionMm)
		require.LessOrEqual(t, math.Abs(moved[line.Code]), max(4*line.ContributionMm, 0.02), line.Code)
	}
	t.Logf("off by %+.3f mm, the sum of:\n%s", off, &table)
	// An edge taken for another lies beyond what is linear.
	require.InDelta(t, off, sum, max(0.02, 0.1*math.Abs(off)))
}

func firstState(photos []drawn.PhotoTruth) []drawn.PhotoTruth {
	var first *drawn.StateTruth
	return slices.DeleteFunc(photos, func(p drawn.PhotoTruth) bool {
		if first == nil && p.State != nil && p.State.TrackMm != 0 {
			first = p.State
		}
		return first == nil || p.State == nil || p.State.RimTotalToeMm != first.RimTotalToeMm
	})
}

// movedBy is by how much the errors of each source have moved a quantity with this gradient;
// not ok where an observation is impossible in the true scene.
func (f *fitted) movedBy(gradient []float64, truth *Scene) (moved map[string]float64, ok bool) {
	var direction mat.VecDense
	direction.MulVec(f.solution.Covariance, mat.NewVecDense(len(gradient), gradient))
	var pull []float64 // of each row's residual on the quantity
	f.adjustment.rows(f.scene, func(r Row) {
		_, weight := r.Loss.at(r.Residual)
		pull = append(pull, weight*r.along(&direction))
	})
	moved = map[string]float64{}
	i := 0
	ok = f.adjustment.rows(truth, func(r Row) {
		moved[source(r.Group).code()] -= pull[i] * r.Residual
		i++
	})
	return moved, ok
}

// trueScene is the true scene in the frame of a solution, whose first sheet's place and
// heading are the frame's. Edge offsets have no truth: those of the solution stand for it.
func trueScene(solution *Scene, sheets []drawn.SheetTruth, photos []drawn.PhotoTruth) *Scene {
	s := solution.clone()
	var world calib.Pose // to the frame
	for i := range s.Sheets {
		at := slices.IndexFunc(sheets, func(sheet drawn.SheetTruth) bool { return sheet.Number == s.Sheets[i].Number })
		if i == 0 {
			world = onFloor(sheets[at].XMm, sheets[at].YMm, sheets[at].YawDeg).Inverse()
		}
		s.Sheets[i] = trueSheet(&sheets[at], world)
	}
	for i := range s.Cameras {
		s.Cameras[i] = meanLens(s.Photos, photos, i)
	}
	for i, p := range photos {
		c, lens := s.Cameras[s.Photos[i].Camera], trueLens(&p)
		s.Photos[i].Zoom, s.Photos[i].ShiftX, s.Photos[i].ShiftY = lens.F/c.F-1, lens.Cx-c.Cx, lens.Cy-c.Cy
		turned := calib.Pose{R: p.R}
		turned.T = r3.Scale(-1, turned.Apply(vector(p.CameraPositionMm)))
		s.Photos[i].Pose = turned.Mul(world.Inverse())
	}
	for side, w := range []drawn.WheelTruth{photos[0].State.Wheels.L, photos[0].State.Wheels.R} {
		s.Wheels[side] = trueBody(&w, world)
	}
	return s
}

func vector(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }

func onFloor(x, y, yawDeg float64) calib.Pose {
	return calib.Pose{R: calib.RotFromVector(r3.Vec{Z: yawDeg / degPerRad}), T: r3.Vec{X: x, Y: y}}
}

func trueLens(p *drawn.PhotoTruth) calib.Camera {
	m, d := p.CameraMatrix, p.Distortion
	return calib.Camera{F: m[0][0], Cx: m[0][2], Cy: m[1][2], K1: d[0], K2: d[1], P1: d[2], P2: d[3], K3: d[4]}
}

// meanLens is a camera's, about which its photos' lenses moved.
func meanLens(states []PhotoState, photos []drawn.PhotoTruth, camera int) calib.Camera {
	var mean calib.Camera
	n := 0.0
	for i := range photos {
		if states[i].Camera != camera {
			continue
		}
		n++
		lens := trueLens(&photos[i])
		for k, value := range lens.Numbers() {
			to := mean.Numbers()[k]
			*to += (*value - *to) / n
		}
	}
	return mean
}

// trueSheet has the paper's lift as its height, its slopes and its twist.
func trueSheet(truth *drawn.SheetTruth, world calib.Pose) SheetState {
	sheet := drawn.Sheet{Z: truth.ZMm, ScaleX: 1, ScaleY: 1, LiftMm: truth.CornerLift}
	z := func(x, y float64) float64 {
		at := r3.Vec{X: x * boardHalfX, Y: y * boardHalfY}
		return sheet.Point(at).Z
	}
	byX, byY := (z(1, 0)-z(-1, 0))/(2*boardHalfX), (z(0, 1)-z(0, -1))/(2*boardHalfY)
	pose := onFloor(truth.XMm, truth.YMm, truth.YawDeg)
	pose.R = pose.R.Mul(calib.RotFromVector(r3.Vec{X: byY, Y: -byX}))
	pose.T.Z = z(0, 0)
	s := newSheet(truth.Number, world.Mul(pose))
	s.ScaleX, s.ScaleY = truth.ScaleX, truth.ScaleY
	s.Warp[0] = (z(1, 1) - z(1, -1) - z(-1, 1) + z(-1, -1)) / 4
	return s
}

// trueBody is a wheel as a body of revolution.
func trueBody(w *drawn.WheelTruth, world calib.Pose) Wheel {
	angles := func(axis [3]float64) (heading, tilt float64) {
		a := world.R.Apply(vector(axis))
		return math.Atan2(a.Y, a.X), math.Asin(a.Z)
	}
	b := Wheel{Centre: world.Apply(vector(w.HubMm)), Tube: w.TyreWidthMm / 2, Lip: lipMm}
	b.Ring = w.TyreDiameterMm/2 - b.Tube
	b.HeadingRad, b.TiltRad = angles(w.TyreAxis)
	heading, tilt := angles(w.RimAxis)
	b.RimHeadingRad, b.RimTiltRad = heading-b.HeadingRad, tilt-b.TiltRad
	for face := range b.Rim {
		b.Rim[face] = Circle{Radius: w.RimDiameterMm/2 - b.Lip, Offset: Face(face).sign() * (w.RimWidthMm/2 - b.Lip)}
	}
	return b
}
