package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// This file judges whether a set of photos determines a camera, and says which view
// is missing where it does not.
//
// A flat target seen straight on tells nothing of the focal length: a longer lens
// from farther away gives the same picture. Tilted about one axis of the picture it
// gives it away, together with one coordinate of the principal point; tilted about
// the other, the other (Zhang 2000, sections 3.1 and 5.1; Sturm and Maybank, "On
// plane-based camera calibration", CVPR 1999, list the cases that do not).
// The distortion is known only as far out as corners were seen. Whether it is enough
// is for the covariance to say; the views only explain it.

// View is how a target stood before the camera.
type View struct {
	Sheet int // 0: a chessboard
	// Tilts of the target against the picture: about the picture's horizontal and its
	// vertical axis.
	TiltAcrossDeg, TiltUprightDeg float64
	TurnDeg                       float64 // of the target in the picture, −180 to 180
}

// Coverage is where in the picture corners were seen: how many in each field, rows
// from the top of the stored picture.
type Coverage [CoverageRows][CoverageColumns]int

// Size of the coverage's fields.
const (
	CoverageRows    = 6
	CoverageColumns = 8
)

// Share of the fields in which corners were seen.
func (c *Coverage) Share() float64 {
	seen := 0
	for _, row := range c {
		for _, n := range row {
			if n > 0 {
				seen++
			}
		}
	}
	return float64(seen) / (CoverageRows * CoverageColumns)
}

// EmptyCorners names the corners of the picture in whose four fields nothing was seen.
func (c *Coverage) EmptyCorners() []string {
	var empty []string
	for i, name := range []string{"top left", "top right", "bottom left", "bottom right"} {
		rows, columns := i/2*(CoverageRows-2), i%2*(CoverageColumns-2)
		seen := 0
		for r := range 2 {
			for col := range 2 {
				seen += c[rows+r][columns+col]
			}
		}
		if seen == 0 {
			empty = append(empty, name)
		}
	}
	return empty
}

func (c *calibration) coverage() (field Coverage) {
	gray := c.inputs[0].Photo.Gray
	for _, o := range c.corners {
		column := int((o.at.X + 0.5) / float64(gray.Width) * CoverageColumns)
		row := int((o.at.Y + 0.5) / float64(gray.Height) * CoverageRows)
		field[min(max(row, 0), CoverageRows-1)][min(max(column, 0), CoverageColumns-1)]++
	}
	return field
}

// views of every photo.
func (c *calibration) views() [][]View {
	views := make([][]View, len(c.inputs))
	for j, photo := range c.photoOfSheet() {
		sheet := &c.scene.Sheets[j]
		pose := c.scene.Photos[photo].Pose.Mul(sheet.Pose)
		normal, right := pose.R.Apply(r3.Vec{Z: 1}), pose.R.Apply(r3.Vec{X: 1})
		views[photo] = append(views[photo], View{
			Sheet:          sheet.Number,
			TiltAcrossDeg:  math.Atan2(normal.Y, -normal.Z) * degPerRad,
			TiltUprightDeg: math.Atan2(normal.X, -normal.Z) * degPerRad,
			TurnDeg:        math.Atan2(right.Y, right.X) * degPerRad,
		})
	}
	return views
}

const (
	// tiltsWantedDeg is how far the tilts about either axis should lie apart.
	tiltsWantedDeg = 40.0
	// leastReach is how far out corners must have been seen, of the way to the
	// picture's corners, for the lens's polynomial to hold there.
	leastReach = 0.5
)

// Limits of what may be called a calibration: standard uncertainties above which EXIF
// is as good, or the principal point makes a single photo a guess. Relative of the
// focal length, and of the picture's width.
const (
	focalLimit     = 0.003
	principalLimit = 0.002
	edgeLimit      = 0.002 // where the distortion puts the picture's corners
)

// verifyViews refuses a camera that the photos do not determine.
func (c *calibration) verifyViews(covariance *mat.SymDense) error {
	camera := c.scene.Cameras[0]
	width := priorOf(c.inputs[0].Photo).width
	u := func(i int) float64 { return math.Sqrt(covariance.At(i, i)) }
	var weak []string
	if share := u(0) / camera.F; !(share < focalLimit) {
		weak = append(weak, fmt.Sprintf("the focal length only to %.1f %%", 100*share))
	}
	if share := max(u(1), u(2)) / width; !(share < principalLimit) {
		weak = append(weak, fmt.Sprintf("the principal point only to %.1f %% of the picture", 100*share))
	}
	if share := c.edgeUncertaintyPx(covariance) / width; !(share < edgeLimit) {
		weak = append(weak, fmt.Sprintf("the distortion at the picture's corners only to %.1f %% of the picture", 100*share))
	}
	if reach := c.reach(); reach < leastReach {
		weak = append(weak, fmt.Sprintf("the distortion only out to %.0f %% of the way to the picture's corners", 100*reach))
	}
	if len(weak) == 0 {
		return nil
	}
	return c.missingViews("The photos determine " + strings.Join(weak, ", ") + ".")
}

// reach is how far out corners were seen, of the way from the principal point to the
// farthest corner of the picture: the mean of the farthest tenth, not to trust to one.
func (c *calibration) reach() float64 {
	camera, gray := c.scene.Cameras[0], c.inputs[0].Photo.Gray
	var radii []float64
	for _, o := range c.corners {
		radii = append(radii, math.Hypot(o.at.X-camera.Cx, o.at.Y-camera.Cy))
	}
	slices.Sort(radii)
	farthest := radii[len(radii)*9/10:]
	sum := 0.0
	for _, r := range farthest {
		sum += r
	}
	width, height := float64(gray.Width), float64(gray.Height)
	return sum / float64(len(farthest)) / math.Hypot(max(camera.Cx, width-camera.Cx), max(camera.Cy, height-camera.Cy))
}

// edgeUncertaintyPx is how uncertain the distortion alone leaves the place of a ray
// into the picture's corners: the largest of the four.
func (c *calibration) edgeUncertaintyPx(covariance *mat.SymDense) float64 {
	camera, gray := c.scene.Cameras[0], c.inputs[0].Photo.Gray
	worst := 0.0
	for i := range 4 {
		corner := calib.Point{X: float64(i%2) * float64(gray.Width-1), Y: float64(i/2) * float64(gray.Height-1)}
		ray, ok := camera.Ray(corner)
		if !ok {
			return math.Inf(1)
		}
		_, j, _ := camera.ProjectJacobian(r3.Scale(2, ray))
		total := 0.0
		for axis := range 2 {
			g := mat.NewVecDense(covariance.SymmetricDim(), nil)
			for k := 3; k < g.Len(); k++ {
				g.SetVec(k, j.Intrinsics[axis][k])
			}
			total += mat.Inner(g, covariance, g)
		}
		worst = max(worst, math.Sqrt(total/2))
	}
	return worst
}

// missingViews is the refusal that names the views to add.
func (c *calibration) missingViews(reason string) error {
	return &vision.Refusal{Code: "views_missing", Reason: reason, Remedy: "To this set, " + strings.Join(c.wanted(), "; ") + "."}
}

// wanted are the views that the set lacks, in words; at least one.
func (c *calibration) wanted() []string {
	var words []string
	switch across, upright := c.tiltsDeg(); {
	case max(across, upright) < tiltsWantedDeg:
		words = append(words, "add views tilted by 30 to 45 degrees about both axes, from all four sides of the sheet")
	case across < tiltsWantedDeg:
		words = append(words, "add views tilted by 30 to 45 degrees about the long axis of the picture, both ways")
	case upright < tiltsWantedDeg:
		words = append(words, "add views tilted by 30 to 45 degrees about the short axis of the picture, both ways")
	}
	if !c.turned() {
		words = append(words, "add views with the phone turned by a quarter")
	}
	coverage := c.coverage()
	if empty := coverage.EmptyCorners(); len(empty) > 0 {
		words = append(words, "add views with the sheet in the picture's corners: "+strings.Join(empty, ", "))
	}
	if len(words) == 0 {
		words = append(words, "add as many views again from nearer, the sheet filling the picture")
	}
	return words
}

// tiltsDeg is how far apart the tilts lie about the picture's two axes.
func (c *calibration) tiltsDeg() (across, upright float64) {
	var a, u []float64
	for _, of := range c.views() {
		for _, v := range of {
			a, u = append(a, v.TiltAcrossDeg), append(u, v.TiltUprightDeg)
		}
	}
	return slices.Max(a) - slices.Min(a), slices.Max(u) - slices.Min(u)
}

// turned says whether the sheet stood in some photos turned by about a quarter
// against others.
func (c *calibration) turned() bool {
	views := c.views()
	for i, of := range views {
		for _, earlier := range views[:i] {
			if quarterTurned(of[0].TurnDeg - earlier[0].TurnDeg) {
				return true
			}
		}
	}
	return false
}

func count(is bool) int {
	if is {
		return 1
	}
	return 0
}

// quarterTurned says whether two turns differ by about a quarter either way.
func quarterTurned(differenceDeg float64) bool {
	return math.Abs(math.Sin(differenceDeg/degPerRad)) > math.Sin(60/degPerRad)
}

// result states what was found, unless the photos do not determine it.
func (c *calibration) result() (*Calibration, error) {
	n := cameraK3 + count(c.model.k3)
	covariance := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			covariance.SetSym(i, j, c.solved.Covariance.At(i, j))
		}
	}
	if err := c.verifyViews(covariance); err != nil {
		return nil, err
	}
	r := &Calibration{
		Camera: c.scene.Cameras[0], Covariance: covariance, RmsPx: c.rmsPx(),
		CornerFactor: c.factors[sourceCorners], MotionFactor: c.factors[sourceLensMotion], PaperFactor: c.factors[sourceFlatness],
		Dropped: c.dropped, Coverage: c.coverage(), Device: calib.Device(c.inputs[0].Photo.Camera),
	}
	views := c.views()
	perPhoto := make([]rms, len(c.inputs))
	corners := make([]int, len(c.inputs))
	for i, e := range c.residuals() {
		photo := c.corners[i].photo
		corners[photo]++
		for _, v := range [2]float64{e.X, e.Y} {
			perPhoto[photo].add(v)
		}
	}
	for i, in := range c.inputs {
		r.Used = append(r.Used, CalibrationPhoto{
			Photo: in.Photo.Path, Corners: corners[i], RmsPx: perPhoto[i].value(), Views: views[i],
		})
		r.hashes = append(r.hashes, fmt.Sprintf("%x", in.Photo.SHA256))
	}
	return r, nil
}

// Profile is the calibration as it is kept in a file. The date is the caller's.
func (c *Calibration) Profile(date string) calib.Profile {
	p := calib.NewProfile(c.Device, c.Camera, c.Covariance)
	p.Created, p.Photos, p.RmsPx, p.PhotoHashes = date, len(c.Used), c.RmsPx, c.hashes
	p.LensMotion = c.MotionFactor
	return p
}

// Correlation of two of the camera's numbers.
func (c *Calibration) Correlation(i, j int) float64 {
	return c.Covariance.At(i, j) / math.Sqrt(c.Covariance.At(i, i)*c.Covariance.At(j, j))
}
