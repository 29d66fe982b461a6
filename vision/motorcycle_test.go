package vision

import (
	"archive/zip"
	"encoding/binary"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// A real photo: the left picture of the Middlebury 2014 motorcycle pair
// (Scharstein et al., "High-resolution stereo datasets with subpixel-accurate
// ground truth", GCPR 2014) at a quarter of its size, as Debian's python3-skimage
// ships it. Its stereo_motorcycle documentation gives this calibration, free of
// distortion. The principal point there is the full picture's over 4; averaging
// 4 × 4 pixels puts it 0.375 px lower, worth 0.02° here.
var motorcycleCamera = calib.Camera{F: 994.978, Cx: 311.193, Cy: 254.877}

// motorcycleShift is the difference of the two pictures' principal points: the
// depth of a point is F · baseline / (disparity + motorcycleShift).
const motorcycleShift = 31.086

// The rear wheel is seen within some 20° of its axis, where the tyre's bulge
// cannot hide the rim's edge; of the front wheel's that cannot be said. Rough
// place of the edge between rim and tyre, by eye.
var motorcycleRim = Ellipse{X: 199, Y: 320.5, A: 56.5, B: 55, AngleRad: math.Pi / 2}

const (
	// edgeHarmonicPx is the standard uncertainty of the edge's place against the
	// circle as it varies twice around the rim, for each of sine and cosine: light
	// and shade on the lip. An edge's place depends on tone and shade by some tenths
	// of a pixel, most of that the same all around; from the edges of rendered wheels.
	edgeHarmonicPx = 0.1
	// The ring beside the rim's edge whose disparities make the plane, as a share of
	// the ellipse: the lip and the tyre next to it.
	ringInner, ringOuter = 0.95, 1.05
)

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

// readNPZ reads the single-precision array of an .npz file: a zip of one .npy
// (NumPy's format 1.0: magic, version, header length, header, values by rows).
func readNPZ(t *testing.T, path string, rows, columns int) []float32 {
	t.Helper()
	archive, err := zip.OpenReader(path)
	require.NoError(t, err)
	defer archive.Close()
	require.Len(t, archive.File, 1)
	file, err := archive.File[0].Open()
	require.NoError(t, err)
	defer file.Close()
	data, err := io.ReadAll(file)
	require.NoError(t, err)
	require.Equal(t, "\x93NUMPY\x01\x00", string(data[:8]))
	start := 10 + int(binary.LittleEndian.Uint16(data[8:10]))
	require.True(t, strings.Contains(string(data[10:start]), "'descr': '<f4', 'fortran_order': False"), "%s", data[10:start])
	values := make([]float32, rows*columns)
	require.Len(t, data[start:], 4*len(values))
	for i := range values {
		values[i] = math.Float32frombits(binary.LittleEndian.Uint32(data[start+4*i:]))
	}
	return values
}

// rimEdgePoints are the strongest falls of brightness outward, from lip to tyre,
// along probes across an ellipse, ten pixels apart.
func rimEdgePoints(g *Gray, around Ellipse, halfWidth float64) (points []calib.Point) {
	n := int(2 * math.Pi * around.A / (2 * bandHalfWidth))
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		normal := Ellipse{A: 1, B: 1, AngleRad: around.AngleRad}.point(cos/around.A, sin/around.B)
		length := math.Hypot(normal.X, normal.Y)
		probe := Probe{
			At: around.point(around.A*cos, around.B*sin),
			NX: normal.X / length, NY: normal.Y / length,
			HalfWidth: halfWidth, Curvature: -1 / around.A,
		}
		best := Edge{Step: -0.1}
		for _, e := range g.Edges(probe) {
			if e.Step < best.Step {
				best = e
			}
		}
		if best.Offset != 0 {
			points = append(points, calib.Point{X: probe.At.X + best.Offset*probe.NX, Y: probe.At.Y + best.Offset*probe.NY})
		}
	}
	return points
}

// estimatedNormal is a unit vector with its covariance.
type estimatedNormal struct {
	normal     r3.Vec
	covariance *mat.SymDense
}

// propagated evaluates f at x and carries the covariance of x through it by
// difference quotients.
func propagated(t *testing.T, f func(x []float64) r3.Vec, x []float64, covariance *mat.SymDense) estimatedNormal {
	t.Helper()
	j := mat.NewDense(3, len(x), nil)
	for k := range x {
		h := 1e-3 * math.Sqrt(covariance.At(k, k))
		up, down := append([]float64{}, x...), append([]float64{}, x...)
		up[k] += h
		down[k] -= h
		d := r3.Scale(1/(2*h), r3.Sub(f(up), f(down)))
		j.SetCol(k, []float64{d.X, d.Y, d.Z})
	}
	return estimatedNormal{f(x), propagate(j, covariance)}
}

// normalOfEllipse is the wheel's axis from the ellipse of its rim. Of the two
// circles the wheel is the one whose axis is nearer to the horizontal, which is
// nearly the picture's.
func normalOfEllipse(t *testing.T, fit EllipseFit) estimatedNormal {
	t.Helper()
	covariance := mat.NewSymDense(ellipseUnknowns, nil)
	covariance.CopySym(fit.Covariance)
	// u·cos 2φ along the normal is dS = diag(u, −u), u·sin 2φ its off-diagonal.
	const square = edgeHarmonicPx * edgeHarmonicPx
	for _, entry := range [][2]int{{2, 2}, {3, 3}, {4, 4}} {
		covariance.SetSym(entry[0], entry[1], covariance.At(entry[0], entry[1])+square)
	}
	covariance.SetSym(2, 4, covariance.At(2, 4)-square)
	s := fit.shape()
	return propagated(t, func(x []float64) r3.Vec {
		e, ok := shape{x[2], x[3], x[4]}.ellipse(x[0], x[1])
		require.True(t, ok)
		poses, err := CirclePoses(e, motorcycleCamera, 1)
		require.NoError(t, err)
		if math.Abs(poses[0].Normal.Y) < math.Abs(poses[1].Normal.Y) {
			return poses[0].Normal
		}
		return poses[1].Normal
	}, []float64{fit.X, fit.Y, s.xx, s.xy, s.yy}, covariance)
}

// normalOfDisparities is the wheel's axis from the disparities on the ring beside
// the rim's edge, in the sectors where the edge was seen: in picture coordinates
// a plane is a plane of disparities too, and a body of revolution adds a slope
// with the radius. Disparities are correlated from pixel to pixel: the covariance
// is that of sectors of 30°, each counted as one observation (White, "A
// heteroskedasticity-consistent covariance matrix estimator", Econometrica 48,
// 1980, for clusters).
func normalOfDisparities(t *testing.T, disparity []float32, width int, fit EllipseFit, edge []calib.Point) estimatedNormal {
	t.Helper()
	type pixel struct {
		row    [4]float64
		value  float64
		sector int
	}
	var pixels []pixel
	reach := fit.A * ringOuter
	for y := int(fit.Y - reach); y <= int(fit.Y+reach); y++ {
		for x := int(fit.X - reach); x <= int(fit.X+reach); x++ {
			at := calib.Point{X: float64(x), Y: float64(y)}
			u, v := fit.local(at)
			radius := math.Hypot(u/fit.A, v/fit.B)
			value := float64(disparity[y*width+x])
			if radius < ringInner || radius > ringOuter || math.IsNaN(value) || math.IsInf(value, 0) || !seenEdge(fit, edge, at) {
				continue
			}
			sector := int((math.Atan2(v, u) + math.Pi) / (math.Pi / 6))
			pixels = append(pixels, pixel{[4]float64{at.X - fit.X, at.Y - fit.Y, 1, fit.A * (radius - 1)}, value, sector})
		}
	}
	var solution mat.VecDense
	var inverse mat.SymDense
	residual := func(p pixel) float64 {
		return p.value - mat.Dot(&solution, mat.NewVecDense(4, p.row[:]))
	}
	solution.CloneFromVec(mat.NewVecDense(4, nil))
	limit := math.Inf(1)
	// Gross errors, pixels of what stands before the wheel, go at 1, then 0.5 px.
	for _, next := range []float64{1, 0.5, 0.5} {
		normal, right := mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
		for _, p := range pixels {
			if math.Abs(residual(p)) < limit {
				row := mat.NewVecDense(4, p.row[:])
				normal.SymRankOne(normal, 1, row)
				right.AddScaledVec(right, p.value, row)
			}
		}
		var factor mat.Cholesky
		require.True(t, factor.Factorize(normal))
		require.NoError(t, factor.SolveVecTo(&solution, right))
		require.NoError(t, factor.InverseTo(&inverse))
		limit = next
	}
	scores := map[int]*mat.VecDense{}
	var used int
	var squares float64
	for _, p := range pixels {
		r := residual(p)
		if math.Abs(r) >= limit {
			continue
		}
		if scores[p.sector] == nil {
			scores[p.sector] = mat.NewVecDense(4, nil)
		}
		scores[p.sector].AddScaledVec(scores[p.sector], r, mat.NewVecDense(4, p.row[:]))
		used++
		squares += r * r
	}
	middle := mat.NewSymDense(4, nil)
	for _, s := range scores {
		middle.SymRankOne(middle, float64(len(scores))/float64(len(scores)-4), s)
	}
	t.Logf("disparities: %d of %d pixels in %d sectors, rms %.3f px", used, len(pixels), len(scores), math.Sqrt(squares/float64(used-4)))
	var dense mat.Dense
	dense.CloneFrom(&inverse)
	return propagated(t, func(x []float64) r3.Vec {
		// d = x0 (u − X) + x1 (v − Y) + x2 with u = F·a + Cx, v = F·b + Cy, and 1/Z is
		// proportional to d + shift: the plane's normal in (a, b, 1) and so in space.
		c := motorcycleCamera
		n := r3.Unit(r3.Vec{
			X: x[0] * c.F,
			Y: x[1] * c.F,
			Z: x[0]*(c.Cx-fit.X) + x[1]*(c.Cy-fit.Y) + x[2] + motorcycleShift,
		})
		if n.Z > 0 {
			n = r3.Scale(-1, n)
		}
		return n
	}, solution.RawVector().Data, propagate(&dense, middle))
}

// seenEdge tells whether the rim's edge was found within half a probe's band.
func seenEdge(fit EllipseFit, edge []calib.Point, at calib.Point) bool {
	for i, e := range edge {
		if fit.Inliers[i] && math.Hypot(e.X-at.X, e.Y-at.Y) <= bandHalfWidth {
			return true
		}
	}
	return false
}

// The plane of the rear wheel from its rim's ellipse against that from its
// disparities. Predicted from the covariances and written here before the two were
// first compared: standard uncertainties of 0.51° and 0.54° by the ellipse along
// the two principal directions, most of it the shade on the lip, 0.07° and 0.12° by
// the disparities; together the two normals differ by less than 1.35° with 95 %.
func TestMotorcycleWheelPlane(t *testing.T) {
	photo, err := Load(referenceFile(t, "skimage/motorcycle_left.png"), DefaultLimits())
	require.NoError(t, err)
	disparity := readNPZ(t, referenceFile(t, "skimage/motorcycle_disp.npz"), photo.Gray.Height, photo.Gray.Width)

	edge := rimEdgePoints(photo.Gray, motorcycleRim, 5)
	fit, err := FitEllipseRobust(edge, 0.3)
	require.NoError(t, err)
	edge = rimEdgePoints(photo.Gray, fit.Ellipse, 3)
	fit, err = FitEllipseRobust(edge, 0.3)
	require.NoError(t, err)
	t.Logf("rim: %d edge points, rms %.3f px, ellipse %+v", len(edge), fit.RmsPx, fit.Ellipse)

	byEllipse := normalOfEllipse(t, fit)
	byDisparity := normalOfDisparities(t, disparity, photo.Gray.Width, fit, edge)
	difference, covariance := inTangentPlane(byEllipse, byDisparity)
	var eigen mat.EigenSym
	require.True(t, eigen.Factorize(covariance, false))
	const toDeg, chiSquare95 = 180 / math.Pi, 5.991 // χ² with two degrees of freedom
	angle := mat.Norm(difference, 2) * toDeg
	bound := math.Sqrt(chiSquare95*eigen.Values(nil)[1]) * toDeg
	var information mat.Dense
	require.NoError(t, information.Inverse(covariance))
	t.Logf("normals %.4f and %.4f differ by %.2f°, with 95 %% by less than %.2f°, χ² %.2f of 2",
		byEllipse.normal, byDisparity.normal, angle, bound, mat.Inner(difference, &information, difference))
	require.InDelta(t, 1.35, bound, 0.05, "the interval is the one stated")
	require.Less(t, mat.Inner(difference, &information, difference), chiSquare95)
}

// inTangentPlane is the difference of two unit vectors, radians in the plane
// square to the second, with its covariance.
func inTangentPlane(a, b estimatedNormal) (*mat.VecDense, *mat.SymDense) {
	u := r3.Unit(r3.Cross(b.normal, r3.Vec{Y: 1}))
	v := r3.Cross(b.normal, u)
	axes := mat.NewDense(2, 3, []float64{u.X, u.Y, u.Z, v.X, v.Y, v.Z})
	d := r3.Sub(a.normal, b.normal)
	var sum mat.SymDense
	sum.AddSym(a.covariance, b.covariance)
	return mat.NewVecDense(2, []float64{r3.Dot(d, u), r3.Dot(d, v)}), propagate(axes, &sum)
}
