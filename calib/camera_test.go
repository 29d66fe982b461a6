package calib

import (
	"image"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/num/dual"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// anyCamera draws a lens as phones have them, with more distortion than they show;
// within anyPoint's field of view the model stays invertible.
func anyCamera(t *rapid.T) Camera {
	draw := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(t, name) }
	return Camera{
		F: draw("f", 500, 5000), Cx: draw("cx", 300, 2500), Cy: draw("cy", 300, 2500),
		K1: draw("k1", -0.15, 0.15), K2: draw("k2", -0.05, 0.05), K3: draw("k3", -0.02, 0.02),
		P1: draw("p1", -0.005, 0.005), P2: draw("p2", -0.005, 0.005),
	}
}

// anyPoint draws a point up to 35° off the axis in x and in y.
func anyPoint(t *rapid.T) r3.Vec {
	z := rapid.Float64Range(200, 5000).Draw(t, "z")
	return r3.Vec{
		X: z * rapid.Float64Range(-0.6, 0.6).Draw(t, "x/z"),
		Y: z * rapid.Float64Range(-0.6, 0.6).Draw(t, "y/z"),
		Z: z,
	}
}

// projectDual is the lens model of the package comment, written out in dual numbers:
// it carries the derivative by whichever variable has an e-part. In order: x, y, z,
// f, cx, cy, k1, k2, p1, p2, k3.
func projectDual(c Camera, v r3.Vec, by int) (u, w dual.Number) {
	variables := []float64{v.X, v.Y, v.Z, c.F, c.Cx, c.Cy, c.K1, c.K2, c.P1, c.P2, c.K3}
	n := make([]dual.Number, len(variables))
	for i, value := range variables {
		n[i].Real = value
	}
	n[by].Emag = 1
	k1, k2, p1, p2, k3 := n[6], n[7], n[8], n[9], n[10]

	a, b := dual.Mul(n[0], dual.Inv(n[2])), dual.Mul(n[1], dual.Inv(n[2]))
	aa, bb, ab := dual.Mul(a, a), dual.Mul(b, b), dual.Mul(a, b)
	s := dual.Add(aa, bb)
	radial := dual.Number{Real: 1}
	power := s
	for _, k := range []dual.Number{k1, k2, k3} {
		radial = dual.Add(radial, dual.Mul(k, power))
		power = dual.Mul(power, s)
	}
	tangential := func(p, q, own dual.Number) dual.Number {
		return dual.Add(dual.Scale(2, dual.Mul(p, ab)), dual.Mul(q, dual.Add(s, dual.Scale(2, own))))
	}
	da := dual.Add(dual.Mul(a, radial), tangential(p1, p2, aa))
	db := dual.Add(dual.Mul(b, radial), tangential(p2, p1, bb))
	return dual.Add(dual.Mul(n[3], da), n[4]), dual.Add(dual.Mul(n[3], db), n[5])
}

func TestProjectJacobianAgainstDualNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, v := anyCamera(t), anyPoint(t)
		p, j, ok := c.ProjectJacobian(v)
		require.True(t, ok)
		for by := range 3 + NumIntrinsics {
			u, w := projectDual(c, v, by)
			// Rounding: pixels up to 1e4, derivatives up to 1e4.
			assert.InDelta(t, u.Real, p.X, 1e-9)
			assert.InDelta(t, w.Real, p.Y, 1e-9)
			got := [2]float64{}
			if by < 3 {
				got = [2]float64{j.Point[0][by], j.Point[1][by]}
			} else {
				got = [2]float64{j.Intrinsics[0][by-3], j.Intrinsics[1][by-3]}
			}
			assert.InDelta(t, u.Emag, got[0], 1e-9, "u by variable %d", by)
			assert.InDelta(t, w.Emag, got[1], 1e-9, "v by variable %d", by)
		}
	})
}

// The dual numbers check the formulae; this checks that Project itself has these slopes.
func TestProjectJacobianAgainstDifferences(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, v := anyCamera(t), anyPoint(t)
		_, j, ok := c.ProjectJacobian(v)
		require.True(t, ok)
		for axis, direction := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			along := func(pick func(Point) float64) float64 {
				return fd.Derivative(func(step float64) float64 {
					p, _ := c.Project(r3.Add(v, r3.Scale(step, direction)))
					return pick(p)
				}, 0, &fd.Settings{Formula: fd.Central, Step: 1e-3 * v.Z})
			}
			// The central formula leaves step²/6 times the third derivative: 1e-6 of
			// the slope itself, times a factor below five for these lenses.
			tolerance := 5e-6 * c.F / v.Z
			assert.InDelta(t, along(func(p Point) float64 { return p.X }), j.Point[0][axis], tolerance)
			assert.InDelta(t, along(func(p Point) float64 { return p.Y }), j.Point[1][axis], tolerance)
		}
	})
}

func TestRayInvertsProject(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, v := anyCamera(t), anyPoint(t)
		p, ok := c.Project(v)
		require.True(t, ok)
		ray, ok := c.Ray(p)
		require.True(t, ok)
		// Newton stops below 1e-9 px, that is 2e-12 of f at least.
		assert.InDelta(t, v.X/v.Z, ray.X, 1e-11)
		assert.InDelta(t, v.Y/v.Z, ray.Y, 1e-11)
		assert.Equal(t, 1.0, ray.Z)
	})
}

func TestRayRefusesWhereTheModelFoldsBack(t *testing.T) {
	// a(1 - a²/2) grows up to a = √(2/3), where it is 0.544, and falls after it.
	c := Camera{F: 1000, K1: -0.5}
	top := math.Sqrt(2.0/3) * 2 / 3
	_, ok := c.Ray(Point{X: 1000 * (top - 0.001)})
	assert.True(t, ok, "just inside")
	_, ok = c.Ray(Point{X: 1000 * (top + 0.001)})
	assert.False(t, ok, "just outside")
}

func TestNothingBehindTheCameraProjects(t *testing.T) {
	for _, z := range []float64{-1000, 0, minDepth / 2} {
		_, ok := Camera{F: 1000}.Project(r3.Vec{X: 10, Z: z})
		assert.False(t, ok)
		_, _, ok = Camera{F: 1000}.ProjectJacobian(r3.Vec{X: 10, Z: z})
		assert.False(t, ok)
	}
}

// lenses to compare with OpenCV: the distortion of Zhang's published camera (IEEE
// TPAMI 22, 2000), and one with all five coefficients.
func lenses() []Camera {
	return []Camera{
		{F: 832.5, Cx: 303.9584, Cy: 206.5879, K1: -0.228601, K2: 0.190353},
		{F: 700, Cx: 321.5, Cy: 238.25, K1: 0.08, K2: -0.11, P1: 0.002, P2: -0.003, K3: 0.05},
	}
}

func openCVLens(t *testing.T, c Camera) (matrix, distortion gocv.Mat) {
	matrix = gocv.NewMatWithSize(3, 3, gocv.MatTypeCV64F)
	for i, v := range []float64{c.F, 0, c.Cx, 0, c.F, c.Cy, 0, 0, 1} {
		matrix.SetDoubleAt(i/3, i%3, v)
	}
	distortion = gocv.NewMatWithSize(1, 5, gocv.MatTypeCV64F)
	for i, v := range []float64{c.K1, c.K2, c.P1, c.P2, c.K3} {
		distortion.SetDoubleAt(0, i, v)
	}
	t.Cleanup(func() { matrix.Close(); distortion.Close() })
	return matrix, distortion
}

// OpenCV's initUndistortRectifyMap says for every pixel of an undistorted picture
// where it lies in the distorted one: its own projection, pixel by pixel.
func TestProjectAgainstOpenCV(t *testing.T) {
	const width, height = 640, 480
	for _, c := range lenses() {
		matrix, distortion := openCVLens(t, c)
		turn := gocv.Eye(3, 3, gocv.MatTypeCV64F)
		mapX, mapY := gocv.NewMat(), gocv.NewMat()
		gocv.InitUndistortRectifyMap(matrix, distortion, turn, matrix, image.Pt(width, height), int(gocv.MatTypeCV32F), mapX, mapY)
		require.Equal(t, height, mapX.Rows())
		for y := 0; y < height; y += 37 {
			for x := 0; x < width; x += 41 {
				p, ok := c.Project(r3.Vec{X: 1000 * (float64(x) - c.Cx) / c.F, Y: 1000 * (float64(y) - c.Cy) / c.F, Z: 1000})
				require.True(t, ok)
				// The map has single precision: 640 × 2⁻²⁴ is 4e-5.
				assert.InDelta(t, mapX.GetFloatAt(y, x), p.X, 5e-5)
				assert.InDelta(t, mapY.GetFloatAt(y, x), p.Y, 5e-5)
			}
		}
		for _, m := range []*gocv.Mat{&turn, &mapX, &mapY} {
			require.NoError(t, m.Close())
		}
	}
}

func TestRayAgainstOpenCVUndistortPoints(t *testing.T) {
	for _, c := range lenses() {
		matrix, distortion := openCVLens(t, c)
		var pixels []Point
		for y := 150.0; y <= 330; y += 30 {
			for x := 200.0; x <= 440; x += 30 {
				pixels = append(pixels, Point{x, y})
			}
		}
		from := gocv.NewMatWithSize(len(pixels), 1, gocv.MatTypeCV64FC2)
		for i, p := range pixels {
			from.SetDoubleAt(i, 0, p.X)
			from.SetDoubleAt(i, 1, p.Y)
		}
		to, turn, ideal := gocv.NewMat(), gocv.Eye(3, 3, gocv.MatTypeCV64F), gocv.Eye(3, 3, gocv.MatTypeCV64F)
		gocv.UndistortPoints(from, &to, matrix, distortion, turn, ideal)
		for i, p := range pixels {
			ray, ok := c.Ray(p)
			require.True(t, ok)
			// OpenCV stops after five fixed-point steps; near the middle of the
			// picture, where distortion is below 1 %, they leave less than this.
			assert.InDelta(t, to.GetDoubleAt(i, 0), ray.X, 1e-7)
			assert.InDelta(t, to.GetDoubleAt(i, 1), ray.Y, 1e-7)
		}
		for _, m := range []*gocv.Mat{&from, &to, &turn, &ideal} {
			require.NoError(t, m.Close())
		}
	}
}
