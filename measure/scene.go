package measure

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
)

// Scene is the state of the adjustment: all that is unknown.
type Scene struct {
	Cameras []calib.Camera
	Photos  []PhotoState
	Sheets  []SheetState
	Wheels  [2]Wheel // in the first state
	// GapShift is how far outward, in px, a rim's edge seems to lie where the gap beside it
	// narrows to nothing; see narrowing.
	GapShift float64
	Changes  [][2]Change // of each state against the first; the first is zero
}

// Change is how a wheel of another state stands against its first state.
type Change struct {
	Move       r3.Vec // of its centre
	HeadingRad float64
	TiltRad    float64
	TurnRad    float64 // how far it has turned about its axle, forward; known, no unknown
}

// numbers are the change's in the order of its unknowns.
func (c *Change) numbers() [changeUnknowns]float64 {
	return [...]float64{c.Move.X, c.Move.Y, c.Move.Z, c.HeadingRad, c.TiltRad}
}

// wheel is a wheel as it stood in a photo.
func (s *Scene) wheel(photo int, side Side) *Wheel {
	return s.wheelIn(s.Photos[photo].State, side)
}

// wheelIn is a wheel as it stood in a state.
func (s *Scene) wheelIn(state int, side Side) *Wheel {
	w := s.Wheels[side]
	if state > 0 {
		c := &s.Changes[state][side]
		w.Centre = r3.Add(w.Centre, c.Move)
		w.HeadingRad += c.HeadingRad
		w.TiltRad += c.TiltRad
		w.turnRad = c.TurnRad
	}
	return &w
}

// PhotoState is one photo: where it was taken and how its stabilised lens stood
// against its camera's mean.
type PhotoState struct {
	Camera     int
	State      int        // of the vehicle
	Pose       calib.Pose // scene to camera
	Zoom       float64    // relative change of the focal length
	ShiftX     float64    // of the principal point, px
	ShiftY     float64
	EdgeOffset [2]float64 // px that edges seem to lie outward: of the tyre, of the rim
}

// SheetState is one sheet: a printed board, nearly flat on the floor.
type SheetState struct {
	Number         int
	Board          calib.Chessboard // in place of a reference sheet; zero for one
	Pose           calib.Pose       // sheet to scene
	ScaleX, ScaleY float64          // of the print, 1 when exact
	// Warp is how the paper bends out of its plane, mm at the board's corners or
	// edges: twisted, curved along x, curved along y.
	Warp [3]float64
	// Bumps are what else each corner is off by on the paper, mm; none: nothing.
	Bumps []r3.Vec
}

// view is a photo's camera as it stood.
type view struct {
	camera calib.Camera
	pose   calib.Pose
	eye    r3.Vec
}

// height above the floor of a point in camera coordinates.
func (v *view) height(at r3.Vec) float64 {
	r := &v.pose.R
	return v.eye.Z + r[0][2]*at.X + r[1][2]*at.Y + r[2][2]*at.Z
}

func (s *Scene) view(photo int) view {
	p := &s.Photos[photo]
	c := s.Cameras[p.Camera]
	c.F *= 1 + p.Zoom
	c.Cx += p.ShiftX
	c.Cy += p.ShiftY
	return view{camera: c, pose: p.Pose, eye: p.Pose.Origin()}
}

// Half the board's size, mm.
const (
	boardHalfX = calib.SheetColumns * calib.SquareMm / 2
	boardHalfY = calib.SheetRows * calib.SquareMm / 2
)

// warpShape is how high each kind of warp lifts the board's point (x, y) for 1 mm
// at the corner or edge; the curved kinds have mean zero over the board, so that
// they do not stand for its height.
func warpShape(p r3.Vec) [3]float64 {
	x, y := p.X/boardHalfX, p.Y/boardHalfY
	return [3]float64{x * y, x*x - 1.0/3, y*y - 1.0/3}
}

// onPaper is where a corner lies on this print, in its frame.
func (s *SheetState) onPaper(index int) r3.Vec {
	p := s.cornerMm(index)
	shape := warpShape(p)
	p = r3.Vec{
		X: p.X * s.ScaleX,
		Y: p.Y * s.ScaleY,
		Z: s.Warp[0]*shape[0] + s.Warp[1]*shape[1] + s.Warp[2]*shape[2],
	}
	if s.Bumps != nil {
		p = r3.Add(p, s.Bumps[index])
	}
	return p
}

// cornerMm is where a corner lies in the exact layout.
func (s *SheetState) cornerMm(index int) r3.Vec {
	if s.Board == (calib.Chessboard{}) {
		return calib.CornerMm(index)
	}
	return s.Board.CornerMm(index)
}

// clone copies the scene, so that a step leaves the old one as it was.
func (s *Scene) clone() *Scene {
	c := *s
	c.Cameras = append([]calib.Camera(nil), s.Cameras...)
	c.Photos = append([]PhotoState(nil), s.Photos...)
	c.Sheets = append([]SheetState(nil), s.Sheets...)
	c.Changes = append([][2]Change(nil), s.Changes...)
	return &c
}

// Numbers of unknowns of each part, in the order that layout and plus keep.
const (
	cameraUnknowns = calib.NumIntrinsics
	photoUnknowns  = 11 // zoom, shift x y, turn 3, move 3, edge offsets of tyre and rim
	sheetUnknowns  = 11 // turn 3, move 3, scale x y, warp 3
	changeUnknowns = 5  // centre 3, heading, tilt
	wheelUnknowns  = 16 // centre 3, heading, tilt, ring, tube, rim: heading, tilt, forward, up, lip, two circles of radius and offset
)

// First unknown of a kind within its part.
const (
	cameraK3                                      = 7
	photoZoom, photoTurn, photoMove, photoEdge    = 0, 3, 6, 9
	sheetTurn, sheetMove, sheetScale, sheetWarp   = 0, 3, 6, 8
	wheelHeading, wheelTilt, wheelRing, wheelTube = 3, 4, 5, 6
	wheelRim, wheelLip, wheelCircles              = 7, 11, 12
)

// layout says which column each unknown has; fixed ones have none (−1).
type layout struct {
	cameras [][cameraUnknowns]int
	photos  [][photoUnknowns]int
	sheets  [][sheetUnknowns]int
	bumps   [][][3]int // of each corner of each sheet; none where they are not free
	wheels  [2][wheelUnknowns]int
	gap     [1]int                   // GapShift
	changes [][2][changeUnknowns]int // none for the first state
	n       int
}

const fixed = -1

// free says which parts of the scene an adjustment may change.
type free struct {
	cameras bool
	poses   bool // photos and sheets
	tyres   [2]bool
	rims    [2]bool
	faces   [2][2]bool // circles of the rims that were seen
	changes bool       // of the states after the first
}

func newLayout(s *Scene, f free) layout {
	l := layout{
		cameras: make([][cameraUnknowns]int, len(s.Cameras)),
		photos:  make([][photoUnknowns]int, len(s.Photos)),
		sheets:  make([][sheetUnknowns]int, len(s.Sheets)),
		bumps:   make([][][3]int, len(s.Sheets)),
		changes: make([][2][changeUnknowns]int, len(s.Changes)),
	}
	assign := l.assign
	for i := range l.cameras {
		assign(l.cameras[i][:cameraK3], f.cameras)
		assign(l.cameras[i][cameraK3:], f.cameras && s.Cameras[i].K3 != 0) // only a calibration knows of it
	}
	anyTyre := f.poses && (f.tyres[Left] || f.tyres[Right])
	anyRim := f.poses && (f.rims[Left] || f.rims[Right])
	for i := range l.photos {
		assign(l.photos[i][:photoTurn], f.cameras)
		assign(l.photos[i][photoTurn:photoEdge], f.poses)
		assign(l.photos[i][photoEdge:photoEdge+1], anyTyre)
		assign(l.photos[i][photoEdge+1:], anyRim)
	}
	for i := range l.sheets {
		// The first sheet's place and heading are where the scene's frame lies.
		gauge := f.poses && i > 0
		assign(l.sheets[i][sheetTurn:sheetTurn+2], f.poses)
		assign(l.sheets[i][sheetTurn+2:sheetMove], gauge)
		assign(l.sheets[i][sheetMove:sheetMove+2], gauge)
		assign(l.sheets[i][sheetMove+2:], f.poses)
	}
	for side := range l.wheels {
		assign(l.wheels[side][:wheelRim], f.tyres[side])
		assign(l.wheels[side][wheelRim:wheelCircles], f.rims[side])
		for face := range f.faces[side] {
			at := wheelCircles + 2*face
			assign(l.wheels[side][at:at+2], f.rims[side] && f.faces[side][face])
		}
	}
	assign(l.gap[:], anyRim)
	for state := range l.changes {
		for side := range l.changes[state] {
			assign(l.changes[state][side][:], f.changes && state > 0)
		}
	}
	return l
}

// assign gives columns numbers, or none.
func (l *layout) assign(columns []int, on bool) {
	for i := range columns {
		columns[i] = fixed
		if on {
			columns[i] = l.n
			l.n++
		}
	}
}

// plus moves a scene by small steps of its free unknowns.
func (l *layout) plus(s *Scene, delta []float64) *Scene {
	step := func(column int) float64 {
		if column == fixed {
			return 0
		}
		return delta[column]
	}
	vec := func(columns []int) r3.Vec {
		return r3.Vec{X: step(columns[0]), Y: step(columns[1]), Z: step(columns[2])}
	}
	n := s.clone()
	n.GapShift += step(l.gap[0])
	for i := range n.Cameras {
		c, at := &n.Cameras[i], l.cameras[i]
		for k, value := range c.Numbers() {
			*value += step(at[k])
		}
	}
	for i := range n.Photos {
		p, at := &n.Photos[i], l.photos[i]
		p.Zoom += step(at[photoZoom])
		p.ShiftX += step(at[photoZoom+1])
		p.ShiftY += step(at[photoZoom+2])
		p.Pose = p.Pose.Perturb(vec(at[photoTurn:]), vec(at[photoMove:]))
		p.EdgeOffset[0] += step(at[photoEdge])
		p.EdgeOffset[1] += step(at[photoEdge+1])
	}
	for i := range n.Sheets {
		p, at := &n.Sheets[i], l.sheets[i]
		p.Pose = p.Pose.Perturb(vec(at[sheetTurn:]), vec(at[sheetMove:]))
		p.ScaleX += step(at[sheetScale])
		p.ScaleY += step(at[sheetScale+1])
		for k := range p.Warp {
			p.Warp[k] += step(at[sheetWarp+k])
		}
		p.Bumps = slices.Clone(p.Bumps)
		for k := range l.bumps[i] {
			p.Bumps[k] = r3.Add(p.Bumps[k], vec(l.bumps[i][k][:]))
		}
	}
	for side := range n.Wheels {
		w, at := &n.Wheels[side], l.wheels[side]
		w.Centre = r3.Add(w.Centre, vec(at[:]))
		for k, value := range []*float64{
			&w.HeadingRad, &w.TiltRad, &w.Ring, &w.Tube,
			&w.RimHeadingRad, &w.RimTiltRad, &w.RimForward, &w.RimUp, &w.Lip,
			&w.Rim[0].Radius, &w.Rim[0].Offset, &w.Rim[1].Radius, &w.Rim[1].Offset,
		} {
			*value += step(at[wheelHeading+k])
		}
	}
	for state := range n.Changes {
		for side := range n.Changes[state] {
			c, at := &n.Changes[state][side], l.changes[state][side]
			c.Move = r3.Add(c.Move, vec(at[:]))
			c.HeadingRad += step(at[wheelHeading])
			c.TiltRad += step(at[wheelTilt])
		}
	}
	return n
}
