package measure

import (
	"fmt"
	"math"
	"slices"

	"rimpair/calib"
	"rimpair/vision"
)

// Input is one photo with the sheet corners found in it.
type Input struct {
	Photo   *vision.Photo
	Corners []vision.Corner
	Copies  *Copies // of the photo; nil: made when they are needed
}

// Settings are what the person knows or wishes.
type Settings struct {
	BeadSeatMm float64 // bead seat diameter of the front rims; 0 when unknown
	RimOuterMm float64 // outer diameter of the front rims measured by hand, in place of it; 0 when it was not
	RunoutMm   float64 // assumed run-out of a rim, mm peak to peak
	// SteerWithinDeg is how far at most the steering is from straight ahead, where the rear
	// wheel does not show it.
	SteerWithinDeg float64
	// RulerMm is what the printed rulers of calib.RulerMm really measure, across and along the
	// page; 0 when they were not measured otherwise.
	RulerMm [2]float64
	// Cameras are the profiles of calibrated cameras, as they hold for the photos.
	Cameras map[vision.CameraID]*calib.Profile
}

// beadSeatMm is as said, or as the outer diameter makes it; 0 when unknown.
func (s *Settings) beadSeatMm() float64 {
	if s.RimOuterMm != 0 {
		return s.RimOuterMm - 2*flangeHeightMm
	}
	return s.BeadSeatMm
}

// set is the photos of one state while they are being measured.
type set struct {
	inputs    []Input
	settings  Settings
	scene     *Scene
	knowledge knowledge
	corners   []cornerObservation
	rims      [2][2]rimEdge // of each wheel's faces
	pairs     []pairGuess   // that were found, best first
	approach  approach
	hearing   hearing    // of the pair that was taken
	positions *positions // of the wheels, where the photos show several
}

func newSet(inputs []Input, settings Settings) (*set, error) {
	m := &set{inputs: slices.Clone(inputs), settings: settings, scene: &Scene{}}
	m.knowledge = knowledge{scale: [2]float64{1, 1}, scaleSigma: printSigma}
	if settings.RimOuterMm != 0 {
		m.settings.BeadSeatMm = settings.beadSeatMm()
		m.knowledge.edgeSigma = handSigmaMm / 2
	}
	for axis, mm := range settings.RulerMm {
		if mm != 0 {
			m.knowledge.scale[axis] = mm / calib.RulerMm
		}
	}
	m.addCameras()
	if err := m.placePhotos(); err != nil {
		return nil, err
	}
	return m, nil
}

// addCameras gives photos of the same camera one lens.
func (m *set) addCameras() {
	known := map[vision.CameraID]int{}
	for _, in := range m.inputs {
		id := in.Photo.Camera
		i, ok := known[id]
		if !ok {
			i = len(m.scene.Cameras)
			known[id] = i
			prior := priorOf(in.Photo)
			if profile := m.settings.Cameras[id]; profile != nil {
				prior.use(profile)
			}
			m.knowledge.cameras = append(m.knowledge.cameras, prior)
			m.scene.Cameras = append(m.scene.Cameras, prior.camera)
		}
		m.scene.Photos = append(m.scene.Photos, PhotoState{Camera: i})
	}
}

// placePhotos finds where each photo was taken from, walking from sheet to sheet
// through the photos that show both.
func (m *set) placePhotos() error {
	type sighting struct{ photo, sheet int }
	var seen []sighting
	poses := map[sighting]calib.Pose{} // sheet number to camera
	first := calib.MaxSheets + 1
	for i, in := range m.inputs {
		sheets := bySheet(in.Corners)
		for number := 1; number <= calib.MaxSheets; number++ {
			if pose, ok := m.sheetPose(i, sheets[number]); ok {
				poses[sighting{i, number}] = pose
				seen = append(seen, sighting{i, number})
				first = min(first, number)
			}
		}
	}
	placed := make([]bool, len(m.inputs))
	sheetIndex := map[int]int{first: 0}
	m.scene.Sheets = []SheetState{newSheet(first, calib.Pose{R: calib.Identity()})}
	for changed := true; changed; {
		changed = false
		for _, at := range seen {
			pose := poses[at]
			index, known := sheetIndex[at.sheet]
			switch {
			case known && !placed[at.photo]:
				m.scene.Photos[at.photo].Pose = pose.Mul(m.scene.Sheets[index].Pose.Inverse())
				placed[at.photo], changed = true, true
			case !known && placed[at.photo]:
				sheetIndex[at.sheet] = len(m.scene.Sheets)
				inScene := m.scene.Photos[at.photo].Pose.Inverse().Mul(pose)
				m.scene.Sheets = append(m.scene.Sheets, newSheet(at.sheet, inScene))
				changed = true
			}
		}
	}
	for i, ok := range placed {
		if !ok {
			return m.unplaced(i)
		}
	}
	for i, in := range m.inputs {
		paper := map[int]float64{}
		for _, c := range in.Corners {
			index, ok := sheetIndex[c.Sheet]
			if !ok {
				continue
			}
			if _, known := paper[c.Sheet]; !known {
				paper[c.Sheet] = paperSigmaMm * vision.SquarePx(in.Corners, c.Sheet) / calib.SquareMm
			}
			m.corners = append(m.corners, cornerObservation{
				photo: i, sheet: index, index: c.Index,
				at: calib.Point{X: c.X, Y: c.Y}, sigma: math.Hypot(c.SigmaPx, paper[c.Sheet]),
			})
		}
	}
	return nil
}

func newSheet(number int, pose calib.Pose) SheetState {
	return SheetState{Number: number, Pose: pose, ScaleX: 1, ScaleY: 1}
}

func bySheet(corners []vision.Corner) map[int][]vision.Corner {
	sheets := map[int][]vision.Corner{}
	for _, c := range corners {
		sheets[c.Sheet] = append(sheets[c.Sheet], c)
	}
	return sheets
}

func (m *set) sheetPose(photo int, corners []vision.Corner) (calib.Pose, bool) {
	camera := m.scene.Cameras[m.scene.Photos[photo].Camera]
	return planePose(cornerRays(camera, &SheetState{}, corners))
}

func (m *set) unplaced(photo int) error {
	in := m.inputs[photo]
	if len(in.Corners) == 0 {
		return &vision.Refusal{
			Code: "no_sheet", Photo: in.Photo.Path,
			Reason: "No reference sheet was found in this photo.",
			Remedy: "Lay the printed sheets flat on the floor, both in full view and in focus, and take it again.",
		}
	}
	return &vision.Refusal{
		Code: "sheets_not_linked", Photo: in.Photo.Path,
		Reason: fmt.Sprintf("No photo shows this photo's sheet together with sheet %d.", m.scene.Sheets[0].Number),
		Remedy: "Add a photo that shows both sheets.",
	}
}

// solverOptions stop once a step is below a thousandth of the uncertainty. nearOptions, of what
// starts where the last solution ended, take a third of the steps.
var (
	solverOptions = Options{MaxIterations: 60, Tolerance: 1e-3}
	nearOptions   = Options{MaxIterations: 60, Tolerance: 1e-3, Damping: 1e-6}
)

// adjustCameras solves cameras and sheets from the sheets' corners alone.
func (m *set) adjustCameras() error {
	for _, loss := range []Loss{Huber(2), Tukey(5)} {
		f, err := m.fitCameras(newLayout(m.scene, camerasAlone), loss)
		if err != nil {
			return err
		}
		m.scene = f.scene
	}
	return nil
}

// camerasAlone leaves the wheels out.
var camerasAlone = free{cameras: true, poses: true}

func (m *set) fitCameras(l layout, loss Loss) (*fitted, error) {
	a := adjustment{layout: l, corners: m.corners, cornerLoss: loss}
	a.priors = m.knowledge.priors(m.scene, &a.layout)
	solution, err := Solve(a.problem(), m.scene, solverOptions)
	return &fitted{scene: solution.State, freed: camerasAlone, adjustment: a, solution: solution}, err
}

// cornerResiduals are the distances in px between corners seen and predicted.
func (m *set) cornerResiduals(s *Scene) []float64 {
	residuals := make([]float64, len(m.corners))
	for i, o := range m.corners {
		px, ok := s.corner(&o, s.view(o.photo))
		residuals[i] = math.Hypot(px.X-o.at.X, px.Y-o.at.Y)
		if !ok {
			residuals[i] = math.Inf(1)
		}
	}
	return residuals
}

// PlausibleRuler says whether a printed ruler of calib.RulerMm can have come out this long.
func PlausibleRuler(mm float64) bool { return 50 <= mm && mm <= 150 }
