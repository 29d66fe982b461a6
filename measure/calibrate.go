package measure

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/vision"
)

// This file calibrates a phone's camera: the same joint adjustment as a
// measurement's, of cameras and flat targets alone (Zhang, "A flexible new technique
// for camera calibration", IEEE TPAMI 22, 2000, with targets that are printed a
// little askew and lie a little bent).
//
// Each target in each photo stands by itself, so that sheets may be moved between
// photos. What stays with a print is its scale and its bend; what a stabilised lens
// does from photo to photo has the prior of a measurement (prior.go), so that the
// camera found is the lens's mean, and its uncertainty says how well twelve photos
// know a mean. Paper is not flat to the hundredth of a millimetre that a phone sees
// from near, so that every corner of a print may lie off a little, in all photos alike
// (Strobl and Hirzinger, "More accurate pinhole camera calibration with imperfect
// planar target", ICCV workshops 2011, from memory). Of the camera itself nothing is
// taken as known: its priors are so wide that they only keep a hopeless set from having
// no solution at all.

// Calibration is a camera found from photos of flat targets.
type Calibration struct {
	Camera     calib.Camera
	Covariance *mat.SymDense // of the camera's numbers, the first 7, or 8 with k3
	RmsPx      float64       // residual of the corners, of one coordinate
	// Factors say how much larger corners' noise, lens motion and unevenness of the
	// paper came out than stated beforehand; all uncertainties have grown with them.
	CornerFactor, MotionFactor, PaperFactor float64
	Used                                    []CalibrationPhoto
	Dropped                                 []Dropped
	Coverage                                Coverage
	Device                                  calib.Device
	hashes                                  []string
}

// CalibrationPhoto is what a photo brought.
type CalibrationPhoto struct {
	Photo   string
	Corners int
	RmsPx   float64 // of one coordinate
	Views   []View
}

// Dropped is a photo that was left out, and why.
type Dropped struct{ Photo, Reason string }

const (
	// leastCalibrationPhotos leaves enough to tell a bad one by.
	leastCalibrationPhotos  = 8
	leastCalibrationCorners = 8 // of one target in a photo
	// badPhotoRatio: a photo is bad when its corners miss their places by so much more
	// than the median photo's, and than they should.
	badPhotoRatio = 3.0
	// rayleigh75 is what 75 % of distances lie below whose coordinates have a standard
	// deviation of 1: √(2 ln 4).
	rayleigh75 = 1.665
)

// Calibrate finds the camera of the photos of reference sheets, or of a chessboard
// where one is given (its zero value is none). Photos that could not be read go in
// as dropped. The error is a *vision.Refusal when the photos do not determine it.
func Calibrate(inputs []Input, dropped []Dropped, board calib.Chessboard) (*Calibration, error) {
	c := newCalibration(board, wholeLens)
	c.dropped = dropped
	c.choose(inputs)
	if err := c.enough(); err != nil {
		return nil, err
	}
	if err := c.solve(); err != nil {
		return nil, err
	}
	if err := c.tryK3(); err != nil {
		return nil, err
	}
	return c.result()
}

// lensModel says which effects an adjustment leaves free.
type lensModel struct {
	k3     bool
	motion bool // of the lens from photo to photo
	paper  bool // print scale and bend
	bumps  bool // of each corner
	uneven bool // the same as noise of each corner
}

var wholeLens = lensModel{motion: true, paper: true, bumps: true}

// calibration is a set of photos while they are being adjusted.
type calibration struct {
	inputs  []Input
	dropped []Dropped
	board   calib.Chessboard
	model   lensModel
	scene   *Scene
	corners []cornerObservation
	factors [numSources]float64 // on stated uncertainties, each at least 1
	fit     adjustment
	solved  Solution[*Scene]
}

func newCalibration(board calib.Chessboard, model lensModel) calibration {
	return calibration{board: board, model: model, factors: noFactors()}
}

func noFactors() (factors [numSources]float64) {
	for k := range factors {
		factors[k] = 1
	}
	return factors
}

func (c *calibration) drop(photo, reason string) {
	c.dropped = append(c.dropped, Dropped{Photo: filepath.Base(photo), Reason: reason})
}

// choose keeps the photos of the camera that most of them were taken with, each
// once, sharp, and with enough corners.
func (c *calibration) choose(inputs []Input) {
	count := map[vision.CameraID]int{}
	var usual vision.CameraID // the first to reach the largest number
	for _, in := range inputs {
		id := in.Photo.Camera
		if count[id]++; count[id] > count[usual] {
			usual = id
		}
	}
	seen := map[[32]byte]string{}
	for _, in := range inputs {
		p := in.Photo
		switch blur := vision.BlurPx(in.Corners); {
		case p.Camera != usual:
			c.drop(p.Path, "taken with another camera, lens, zoom or picture size than most")
		case seen[p.SHA256] != "":
			c.drop(p.Path, "the same photo as "+seen[p.SHA256])
		case blur > maxBlurPx:
			c.drop(p.Path, fmt.Sprintf("too blurred: edges spread over %.1f px", blur))
		case largestTarget(in.Corners) < leastCalibrationCorners:
			c.drop(p.Path, "too few corners of a sheet are seen")
		default:
			c.inputs = append(c.inputs, in)
		}
		seen[p.SHA256] = filepath.Base(p.Path)
	}
}

func largestTarget(corners []vision.Corner) int {
	largest := 0
	for _, of := range bySheet(corners) {
		largest = max(largest, len(of))
	}
	return largest
}

// enough refuses sets of too few photos.
func (c *calibration) enough() error {
	if len(c.inputs) >= leastCalibrationPhotos {
		return nil
	}
	reason := fmt.Sprintf("Only %d photos can be used; a camera needs %d.", len(c.inputs), leastCalibrationPhotos)
	for _, d := range c.dropped {
		reason += fmt.Sprintf(" %s: %s.", d.Photo, d.Reason)
	}
	return &vision.Refusal{
		Code: "too_few_views", Reason: reason,
		Remedy: "Take 12 to 15 photos in all with one phone, same lens, no zoom: the sheet large in each, upright and tilted by 30 to 45 degrees about both axes, some with the phone turned by a quarter, in every corner of the picture.",
	}
}

// solve adjusts everything, first as if the paper were smooth, then as it is, and
// leaves out photos that do not fit, until all do.
func (c *calibration) solve() error {
	whole, smooth := c.model, c.model
	smooth.bumps, smooth.uneven = false, true
	camera := c.startCamera()
	for {
		c.model, c.factors = smooth, noFactors()
		// Twice, from poses seen through the better lens: one of a plane's two poses
		// may have been the wrong one.
		for range 2 {
			if err := c.place(camera); err != nil {
				return err
			}
			if err := c.adjust(Huber(2)); err != nil {
				return err
			}
			camera = c.scene.Cameras[0]
		}
		worst := c.badPhoto()
		c.model = whole
		if worst < 0 {
			if err := c.adjust(Huber(2)); err != nil {
				return err
			}
			if err := c.adjustWithFactors(); err != nil {
				return err
			}
			if worst = c.badPhoto(); worst < 0 {
				return nil
			}
		}
		c.drop(c.inputs[worst].Photo.Path, "it does not fit the others: was the sheet bent, or the phone moved, as it was taken?")
		c.inputs = slices.Delete(c.inputs, worst, worst+1)
		if err := c.enough(); err != nil {
			return err
		}
	}
}

// factorRounds: how large an effect is settles to some per cent at once, since it
// only changes how observations and priors weigh against each other.
const factorRounds = 3

func (c *calibration) adjustWithFactors() error {
	for range factorRounds {
		for k, factor := range c.groupFactors() {
			c.factors[k] = max(1, c.factors[k]*factor)
		}
		if err := c.adjust(Tukey(5)); err != nil {
			return err
		}
	}
	return nil
}

// k3Evidence is how many standard uncertainties k3 must differ from zero by to be
// kept. Without it there are fewer numbers to be mistaken in.
const k3Evidence = 3.0

func (c *calibration) tryK3() error {
	with := *c
	with.model.k3 = true
	if err := with.adjust(Tukey(5)); err != nil {
		return nil // the photos do not settle it
	}
	k3, u := with.scene.Cameras[0].K3, math.Sqrt(with.solved.Covariance.At(cameraK3, cameraK3))
	if math.Abs(k3) < k3Evidence*u {
		return nil
	}
	*c = with
	return c.adjustWithFactors()
}

// startCamera has the focal length of EXIF, or the one that the targets' perspective
// shows, or a usual one.
func (c *calibration) startCamera() calib.Camera {
	camera := priorOf(c.inputs[0].Photo).camera
	if c.inputs[0].Photo.FocalPx == 0 {
		if f, ok := c.perspectiveFocal(camera); ok {
			camera.F = f
		}
	}
	return camera
}

// perspectiveFocal is the focal length that makes the pictures of the targets' x and
// y axes orthogonal and equally long (Zhang 2000, equations 3 and 4, the principal
// point in the middle and square pixels): by least squares over all photos, each
// with two equations p/f² + q = 0.
func (c *calibration) perspectiveFocal(camera calib.Camera) (f float64, ok bool) {
	unit := calib.Camera{F: 1, Cx: camera.Cx, Cy: camera.Cy}
	var pp, pq float64
	for _, in := range c.inputs {
		for number, corners := range bySheet(in.Corners) {
			sheet := SheetState{Number: number, Board: c.board}
			h, ok := homography(cornerRays(unit, &sheet, corners))
			if !ok {
				continue
			}
			size := math.Hypot(h[0], h[3]) + math.Hypot(h[1], h[4])
			for k := range h {
				h[k] /= size
			}
			for _, e := range [2][2]float64{
				{h[0]*h[1] + h[3]*h[4], h[6] * h[7]},
				{h[0]*h[0] + h[3]*h[3] - h[1]*h[1] - h[4]*h[4], h[6]*h[6] - h[7]*h[7]},
			} {
				pp += e[0] * e[0]
				pq += e[0] * e[1]
			}
		}
	}
	f = math.Sqrt(-pp / pq)
	return f, f > 0.3*camera.F && f < 5*camera.F
}

// cornerRays are a target's corners on it and the rays that see them.
func cornerRays(camera calib.Camera, sheet *SheetState, corners []vision.Corner) (points, rays []r3.Vec) {
	for _, corner := range corners {
		if ray, ok := camera.Ray(calib.Point{X: corner.X, Y: corner.Y}); ok {
			points, rays = append(points, sheet.cornerMm(corner.Index)), append(rays, ray)
		}
	}
	return points, rays
}

// place makes the scene as a camera sees it. A photo's first target is where its
// frame lies. Photos in which no target has a pose are dropped.
func (c *calibration) place(camera calib.Camera) error {
	c.scene, c.corners = &Scene{Cameras: []calib.Camera{camera}}, nil
	var kept []Input
	for _, in := range c.inputs {
		if c.placePhoto(camera, in) {
			kept = append(kept, in)
		} else {
			c.drop(in.Photo.Path, "its corners lie on no flat sheet")
		}
	}
	c.inputs = kept
	return c.enough()
}

func (c *calibration) placePhoto(camera calib.Camera, in Input) bool {
	photo, placed := PhotoState{}, false
	index := len(c.scene.Photos)
	targets := bySheet(in.Corners)
	for number := 0; number <= calib.MaxSheets; number++ { // 0 is a chessboard
		corners := targets[number]
		if len(corners) < leastCalibrationCorners {
			continue
		}
		sheet := newSheet(number, calib.Pose{R: calib.Identity()})
		sheet.Board, sheet.Bumps = c.board, make([]r3.Vec, c.targetCorners())
		pose, ok := planePose(cornerRays(camera, &sheet, corners))
		if !ok {
			continue
		}
		if placed {
			sheet.Pose = photo.Pose.Inverse().Mul(pose)
		} else {
			photo.Pose, placed = pose, true
		}
		for _, corner := range corners {
			c.corners = append(c.corners, cornerObservation{
				photo: index, sheet: len(c.scene.Sheets), index: corner.Index,
				at: calib.Point{X: corner.X, Y: corner.Y}, sigma: corner.SigmaPx,
			})
		}
		c.scene.Sheets = append(c.scene.Sheets, sheet)
	}
	if placed {
		c.scene.Photos = append(c.scene.Photos, photo)
	}
	return placed
}

// adjust solves the scene as it stands.
func (c *calibration) adjust(loss Loss) error {
	c.fit = adjustment{layout: c.layout(), cornerLoss: loss}
	for _, o := range c.corners {
		o.sigma = c.factors[sourceCorners] * c.sigmaPx(&o)
		c.fit.corners = append(c.fit.corners, o)
	}
	c.fit.priors = c.priors(&c.fit.layout)
	solved, err := Solve(c.fit.problem(), c.scene, Options{Tolerance: 1e-3})
	if err != nil {
		return c.undetermined(err)
	}
	c.scene, c.solved = solved.State, solved
	return nil
}

// sigmaPx is a corner's stated uncertainty, with what bumps of the paper move it by
// where they are no unknowns.
func (c *calibration) sigmaPx(o *cornerObservation) float64 {
	if !c.model.uneven {
		return o.sigma
	}
	return math.Hypot(o.sigma, smoothSigmasMm[2]*c.scene.Cameras[0].F/c.scene.Photos[o.photo].Pose.T.Z)
}

func (c *calibration) undetermined(err error) error {
	var rank *RankError
	// Without tilts there may be no minimum to reach.
	if across, upright := c.tiltsDeg(); errors.As(err, &rank) || max(across, upright) < tiltsWantedDeg {
		return c.missingViews("The photos do not determine the lens.")
	}
	return &vision.Refusal{
		Code: "camera_not_settled", Reason: fmt.Sprintf("The photos do not agree on one lens (%v).", err),
		Remedy: "Use one phone with the same lens and no zoom, the sheet flat and fixed to something stiff, and take the set again.",
	}
}

// layout gives every unknown its column. Sightings of one print share the columns of
// its scale, bend and bumps.
func (c *calibration) layout() layout {
	s := c.scene
	l := layout{
		cameras: make([][cameraUnknowns]int, 1),
		photos:  make([][photoUnknowns]int, len(s.Photos)),
		sheets:  make([][sheetUnknowns]int, len(s.Sheets)),
		bumps:   make([][][3]int, len(s.Sheets)),
	}
	l.assign(l.cameras[0][:cameraK3], true)
	l.assign(l.cameras[0][cameraK3:], c.model.k3)
	for i := range l.photos {
		l.assign(l.photos[i][:photoTurn], c.model.motion)
		l.assign(l.photos[i][photoTurn:photoEdge], true)
		l.assign(l.photos[i][photoEdge:], false)
	}
	photos := c.photoOfSheet()
	for j, print := range c.prints() {
		at := l.sheets[j][:]
		l.assign(at[:sheetScale], j > 0 && photos[j] == photos[j-1])
		if print < j {
			copy(at[sheetScale:], l.sheets[print][sheetScale:])
			l.bumps[j] = l.bumps[print]
			continue
		}
		l.assign(at[sheetScale:], c.model.paper)
		l.bumps[j] = make([][3]int, len(s.Sheets[j].Bumps))
		for k := range l.bumps[j] {
			l.assign(l.bumps[j][k][:], c.model.bumps)
		}
	}
	return l
}

// prints is, for each sighting, the first sighting of the same print.
func (c *calibration) prints() []int {
	first := map[int]int{}
	prints := make([]int, len(c.scene.Sheets))
	for j, sheet := range c.scene.Sheets {
		if _, known := first[sheet.Number]; !known {
			first[sheet.Number] = j
		}
		prints[j] = first[sheet.Number]
	}
	return prints
}

// photoOfSheet is which photo each sighting is in.
func (c *calibration) photoOfSheet() []int {
	photos := make([]int, len(c.scene.Sheets))
	for _, o := range c.corners {
		photos[o.sheet] = o.photo
	}
	return photos
}

// priors of what is free in a layout.
func (c *calibration) priors(l *layout) []prior {
	s := c.scene
	var list []prior
	add := func(src source, column int, mean, sigma float64, value func(*Scene) float64) {
		if column != fixed {
			list = append(list, prior{source: src, value: value, columns: []int{column}, mean: mean, sigma: sigma * c.factors[src]})
		}
	}
	lens := priorOf(c.inputs[0].Photo)
	lens.camera, lens.sigmas = c.startCamera(), lens.anyLens()
	list = append(list, lens.priors(0, l.cameras[0][:])...)
	lens.motion = c.factors[sourceLensMotion]
	for i := range s.Photos {
		list = append(list, lens.motionPriors(i, l.photos[i][:photoTurn])...)
	}
	for j, print := range c.prints() {
		if print < j {
			continue
		}
		at := l.sheets[j]
		add(sourcePrintScale, at[sheetScale], 1, printSigma, func(s *Scene) float64 { return s.Sheets[j].ScaleX })
		add(sourcePrintScale, at[sheetScale+1], 1, printSigma, func(s *Scene) float64 { return s.Sheets[j].ScaleY })
		for w, share := range c.warpUnits() {
			add(sourceFlatness, at[sheetWarp+w], 0, warpSigmaMm*share, func(s *Scene) float64 { return s.Sheets[j].Warp[w] })
		}
		list = append(list, c.bumpPriors(j, l.bumps[j])...)
	}
	return list
}

func (c *calibration) targetCorners() int {
	if c.board == (calib.Chessboard{}) {
		return calib.SheetCorners
	}
	return c.board.Corners()
}

// warpUnits is how large each warp must be for 1 mm at this target's corner or edge:
// warps are counted in mm at a reference sheet's.
func (c *calibration) warpUnits() [3]float64 {
	if c.board == (calib.Chessboard{}) {
		return [3]float64{1, 1, 1}
	}
	x := boardHalfX / (float64(c.board.Columns+1) / 2 * c.board.SquareMm)
	y := boardHalfY / (float64(c.board.Rows+1) / 2 * c.board.SquareMm)
	return [3]float64{x * y, x * x, y * y}
}

// groupFactors are how much larger the residuals of each kind are than their σ in the
// adjustment (estimation of variance components, see Scatter).
func (c *calibration) groupFactors() map[int]float64 {
	factors := map[int]float64{}
	for k, g := range Scatters(c.fit.problem(), c.scene, c.solved.Covariance) {
		factors[k] = math.Sqrt(g.ChiSquare / max(g.Redundancy, 1))
	}
	return factors
}

// residuals of the corners in px, along both coordinates.
func (c *calibration) residuals() []calib.Point {
	list := make([]calib.Point, len(c.corners))
	for i, o := range c.corners {
		px, _ := c.scene.corner(&o, c.scene.view(o.photo))
		list[i] = calib.Point{X: px.X - o.at.X, Y: px.Y - o.at.Y}
	}
	return list
}

// rmsPx of all corners' residuals, of one coordinate.
func (c *calibration) rmsPx() float64 {
	var all rms
	for _, e := range c.residuals() {
		all.add(e.X)
		all.add(e.Y)
	}
	return all.value()
}

// badPhoto is the photo whose corners miss their places most, counted in what they may
// miss them by, when it is clearly a bad one, else −1.
func (c *calibration) badPhoto() int {
	misses := make([][]float64, len(c.inputs))
	for i, e := range c.residuals() {
		o := &c.corners[i]
		misses[o.photo] = append(misses[o.photo], math.Hypot(e.X, e.Y)/c.sigmaPx(o))
	}
	quantile := func(values []float64, share float64) float64 {
		return slices.Sorted(slices.Values(values))[int(share*float64(len(values)))]
	}
	typical := make([]float64, len(misses))
	for i := range misses {
		typical[i] = quantile(misses[i], 0.75) // a few covered corners do not move it
	}
	worst := slices.Index(typical, slices.Max(typical))
	if typical[worst] <= badPhotoRatio*max(quantile(typical, 0.5), rayleigh75) {
		return -1
	}
	return worst
}
