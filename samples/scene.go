package samples

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"rimpair/calib"
)

// Options say what kind of scene is wanted; the zero value is the standard plan in
// a setting drawn from the seed.
type Options struct {
	Views    []View  // none: front, rear and above
	Plan     Plan    // where the sheets lie
	Setting  Setting // AnySetting: drawn
	LongSide int     // longer side of the pictures in px; 0: that of a phone, drawn
	HalfTurn bool    // every view twice: valve at the top, then at the bottom
	Guards   Guards  // whether the front wheels have mudguards
}

// Setting is where the vehicle stands.
type Setting int

const (
	AnySetting Setting = iota
	Bench              // plain floor, soft lamps
	Garage             // tiles and clutter, soft lamps
	Driveway           // sun with hard shadows
	Shade              // overcast sky, leaves
)

func (s Setting) String() string {
	return [...]string{"any", "bench", "garage", "driveway", "shade"}[s]
}

// Guards says whether there are mudguards over the front wheels.
type Guards int

const (
	NoGuards   Guards = iota
	SomeGuards        // drawn: one vehicle in five has them
	WithGuards
)

// Scene is everything that is photographed, and the photos' cameras.
type Scene struct {
	Seed    uint64
	Setting Setting
	Vehicle Vehicle
	Sheets  []Sheet
	Shots   []Shot
	looks   looks
}

// Streams of random numbers, one for each purpose, so that a change in one does not
// move the others.
const (
	streamVehicle = iota + 1
	streamSheets
	streamCameras
	streamLooks
	streamDevelop
	streamNoise // and one more for each photo
)

func stream(seed, purpose uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, purpose)) }

// NewScene draws a scene. The same seed and options give the same scene.
func NewScene(seed uint64, o Options) Scene {
	s := Scene{Seed: seed, Setting: o.Setting, Vehicle: newVehicle(stream(seed, streamVehicle))}
	s.Sheets = newSheets(stream(seed, streamSheets), o.Plan, s.Vehicle)
	g := stream(seed, streamLooks)
	setting := pick(g, Bench, Garage, Driveway, Shade)
	if s.Setting == AnySetting {
		s.Setting = setting
	}
	s.looks = newLooks(g, s.Setting, o.Guards, s.Sheets)
	s.Shots = newShots(stream(seed, streamCameras), stream(seed, streamDevelop), o, s.Vehicle, s.Sheets)
	return s
}

// Truth is what truth.json says about the scene.
func (s Scene) Truth() Truth {
	t := Truth{Family: s.Setting.String(), Frame: frameNote}
	for _, sheet := range s.Sheets {
		t.Sheets = append(t.Sheets, sheet.truth())
	}
	for _, shot := range s.Shots {
		p := shot.truth()
		state := s.Vehicle.State(shot.TurnDeg)
		p.State = &state
		p.VisibleRim = s.visibleRims(shot)
		t.Photos = append(t.Photos, p)
	}
	return t
}

// View is the side from which a photo is taken.
type View string

const (
	Front            View = "front"
	RearView         View = "rear"
	Behind           View = "behind" // from farther back, the rear wheel wholly in the picture
	Above            View = "above"
	LeftSide         View = "left"
	RightSide        View = "right"
	CornerFrontLeft  View = "corner-front-left"
	CornerFrontRight View = "corner-front-right"
	CornerRearLeft   View = "corner-rear-left"
	CornerRearRight  View = "corner-rear-right"
)

// stand is where a person stands and looks: ranges for a view.
type stand struct {
	place, placeSpread   vec
	target, targetSpread vec
}

func (v View) stand() stand {
	at := func(x, y, z, dx, dy, dz float64, target vec) stand {
		return stand{vec{X: x, Y: y, Z: z}, vec{X: dx, Y: dy, Z: dz}, target, vec{X: 60, Y: 70, Z: 40}}
	}
	middle := vec{Z: 150}
	switch v {
	case Front:
		return at(0, 1250, 1130, 100, 220, 180, middle)
	case RearView:
		return at(0, -1420, 1600, 90, 200, 250, middle)
	case Behind:
		return at(300, -2050, 1700, 100, 150, 150, vec{Y: -350, Z: 100})
	case Above:
		return at(0, 20, 1790, 120, 120, 130, vec{Y: 20})
	case LeftSide:
		return at(-900, 450, 1380, 120, 250, 120, middle)
	case RightSide:
		return at(900, 450, 1380, 120, 250, 120, middle)
	case CornerFrontLeft:
		return at(-560, 980, 1230, 120, 120, 120, middle)
	case CornerFrontRight:
		return at(560, 980, 1230, 120, 120, 120, middle)
	case CornerRearLeft:
		return at(-560, -1100, 1300, 120, 120, 120, middle)
	case CornerRearRight:
		return at(560, -1100, 1300, 120, 120, 120, middle)
	}
	panic("samples: unknown view " + string(v))
}

// Shot is one photo to be taken.
type Shot struct {
	Name          string
	View          View
	Camera        calib.Camera
	Pose          calib.Pose // from the scene to the camera
	Width, Height int
	TurnDeg       float64 // how far the front wheels are turned from valve on top
	Phone         Phone
	Orientation   int // EXIF: 1 as stored, 6 and 8 held upright
	Develop       Develop
}

// Project returns where a point of the scene lies in the picture.
func (s Shot) Project(p vec) (calib.Point, bool) { return s.Camera.Project(s.Pose.Apply(p)) }

func (s Shot) truth() PhotoTruth {
	c, valve := s.Camera, "top"
	if s.TurnDeg != 0 {
		valve = "bottom"
	}
	return PhotoTruth{
		File:             s.Name + ".jpg",
		ValvePosition:    valve,
		CameraMatrix:     [3][3]float64{{c.F, 0, c.Cx}, {0, c.F, c.Cy}, {0, 0, 1}},
		Distortion:       [5]float64{c.K1, c.K2, c.P1, c.P2, c.K3},
		Size:             [2]int{s.Width, s.Height},
		R:                s.Pose.R,
		CameraPositionMm: array(s.Pose.Origin()),
		Orientation:      s.Orientation,
		Develop:          DevelopTruth{BlurPx: s.Develop.BlurPx, ISO: s.Develop.ISO, MotionPx: s.Develop.MotionPx},
		JPEGQuality:      s.Develop.Quality,
	}
}

// newShots draws one phone and its photos.
func newShots(g, develop *rand.Rand, o Options, v Vehicle, sheets []Sheet) []Shot {
	views := o.Views
	if len(views) == 0 {
		views = []View{Front, RearView, Above}
	}
	width := pick(g, 3264, 4000, 4032)
	if o.LongSide != 0 {
		width = o.LongSide
	}
	height := width * 3 / 4
	lens := newLens(g, float64(width), float64(height))
	phone := newPhone(g, lens, float64(width), float64(height))
	turns := []float64{0}
	if o.HalfTurn {
		turns = []float64{0, 180}
	}
	var shots []Shot
	for _, turn := range turns {
		for _, view := range views {
			s := Shot{Name: string(view), View: view, Width: width, Height: height, TurnDeg: turn, Phone: phone}
			if o.HalfTurn {
				s.Name = map[float64]string{0: "top-", 180: "bottom-"}[turn] + s.Name
			}
			s.Develop = newDevelop(develop)
			s.aim(g, lens, v, sheets)
			shots = append(shots, s)
		}
	}
	return shots
}

// newLens draws the lens that all photos share: f and the principal point move a
// little from photo to photo. A polynomial in two hundred folds back before the
// picture's corner, as no real lens does; it is drawn again.
func newLens(g *rand.Rand, width, height float64) calib.Camera {
	for {
		if c := drawLens(g, width, height); reaches(c, width, height) {
			return c
		}
	}
}

// reaches says whether the lens has rays for all of the picture and what it moves by.
func reaches(c calib.Camera, width, height float64) bool {
	margin := 4*principalJitter*width + 1
	for _, x := range [2]float64{-margin, width + margin} {
		for _, y := range [2]float64{-margin, height + margin} {
			if _, ok := c.Ray(calib.Point{X: x, Y: y}); !ok {
				return false
			}
		}
	}
	return true
}

func drawLens(g *rand.Rand, width, height float64) calib.Camera {
	clipped := func(sigma, limit float64) float64 {
		return min(max(g.NormFloat64()*sigma, -limit), limit)
	}
	return calib.Camera{
		F:  width * uniform(g, 0.69, 0.80),
		Cx: (width-1)/2 + width*clipped(0.006, 0.012),
		Cy: (height-1)/2 + width*clipped(0.006, 0.012),
		K1: clipped(0.035, 0.09), K2: clipped(0.05, 0.1),
		P1: clipped(0.0004, 0.001), P2: clipped(0.0004, 0.001),
	}
}

// How far a stabilised lens moves from photo to photo: "constantly changing" in a
// study of 14 phones (Sensors 2023, 23(2), 728).
const (
	focalJitter     = 0.002 // of f
	principalJitter = 0.001 // of the width
)

// frameMargin is what must stay free around the wheels and sheets, of the width.
const frameMargin = 0.02

// aim draws the camera of a shot until both front wheels and the sheets are in the
// picture, from farther away each time.
func (s *Shot) aim(g *rand.Rand, lens calib.Camera, v Vehicle, sheets []Sheet) {
	s.Camera = lens
	s.Camera.F *= 1 + g.NormFloat64()*focalJitter
	s.Camera.Cx += g.NormFloat64() * principalJitter * float64(s.Width)
	s.Camera.Cy += g.NormFloat64() * principalJitter * float64(s.Width)
	s.Orientation = pick(g, 1, 1, 1, 1, 6, 8)
	stand := s.View.stand()
	if s.View == Above {
		s.Orientation = 1
	}
	wanted := mustShow(sheets, v.Left, v.Right)
	if s.View == Behind {
		wanted = mustShow(sheets, v.Left, v.Right, v.Rear)
		stand.place.X *= rearmostSide(sheets) // else the rear wheel may hide that sheet
	}
	spread := func(mean, by vec) vec {
		return vec{
			X: mean.X + uniform(g, -by.X, by.X), Y: mean.Y + uniform(g, -by.Y, by.Y), Z: mean.Z + uniform(g, -by.Z, by.Z),
		}
	}
	for back := 1.0; ; back *= 1.01 {
		place := spread(stand.place, stand.placeSpread)
		target := spread(stand.target, stand.targetSpread)
		place = plus(target, times(back, minus(place, target)))
		up := vec{Z: 1}
		if s.View == Above {
			up = vec{Y: 1}
		}
		s.Pose = lookAt(place, target, up, radians(uniform(g, -4, 4)), s.Orientation)
		if s.shows(wanted) {
			return
		}
	}
}

// rearmostSide is the side on which the rearmost sheet lies, right positive.
func rearmostSide(sheets []Sheet) float64 {
	rearmost := slices.MinFunc(sheets, func(a, b Sheet) int { return cmp.Compare(a.Corner(0).Y, b.Corner(0).Y) })
	return math.Copysign(1, rearmost.Corner(0).X)
}

// mustShow lists the points that a photo has to show: the tyres and the boards.
func mustShow(sheets []Sheet, wheels ...Wheel) []vec {
	var points []vec
	for _, w := range wheels {
		f := axesAbout(w.Hub, w.Axle(), vec{Z: 1})
		for i := range 12 {
			sin, cos := math.Sincos(float64(i) * math.Pi / 6)
			points = append(points, f.out(vec{X: cos * w.TyreDiameterMm / 2, Y: sin * w.TyreDiameterMm / 2}))
		}
	}
	for _, sheet := range sheets {
		for _, i := range []int{0, calib.CornerColumns - 1, calib.SheetCorners - calib.CornerColumns, calib.SheetCorners - 1} {
			points = append(points, sheet.Corner(i))
		}
	}
	return points
}

func (s Shot) shows(points []vec) bool {
	margin := frameMargin * float64(s.Width)
	for _, p := range points {
		q, ok := s.Project(p)
		if !ok || q.X < margin || q.Y < margin || q.X > float64(s.Width)-margin || q.Y > float64(s.Height)-margin {
			return false
		}
	}
	return true
}

// lookAt is the pose of a camera at a place that looks at a target, rolled about its
// line of sight, and held so that its stored picture needs the EXIF orientation.
func lookAt(place, target, up vec, rollRad float64, orientation int) calib.Pose {
	forward := unit(minus(target, place))
	right := unit(cross(forward, up))
	down := cross(forward, right)
	sin, cos := math.Sincos(rollRad)
	right, down = plus(times(cos, right), times(sin, down)), minus(times(cos, down), times(sin, right))
	switch orientation {
	case 6: // the stored picture's left is the scene's top
		right, down = down, times(-1, right)
	case 8: // the stored picture's right is the scene's top
		right, down = times(-1, down), right
	}
	r := calib.Rot{array(right), array(down), array(forward)}
	return calib.Pose{R: r, T: times(-1, r.Apply(place))}
}
