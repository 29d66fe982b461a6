package measure

import "rimpair/calib"

// Overlay is what was used in one photo, for drawing on it: all in stored pixels.
type Overlay struct {
	Corners []CornerMark
	Edges   []EdgeMark
	Curves  []Curve
}

// CornerMark is a sheet corner.
type CornerMark struct {
	Seen, Fitted calib.Point
	Sheet        int
}

// EdgeMark is one sub-pixel edge point.
type EdgeMark struct {
	At   calib.Point
	Kind EdgeKind
	Used bool // false: rejected as a gross error
}

// EdgeKind tells what an edge point is a point of.
type EdgeKind int

// Kinds of edge.
const (
	TyreOuter EdgeKind = iota // apparent contour of the tyre against what lies outside
	TyreInner                 // apparent contour of the tyre against what lies inside
	RimCircle                 // the rim's edge against the tyre: a true circle
)

// Curve is a fitted circle or outline, as a polyline of its visible part.
type Curve struct {
	Side   string        `json:"side"` // "left", "right", "rear"
	Kind   EdgeKind      `json:"kind"`
	Points []calib.Point `json:"points"`
}

// TopView is what is needed to draw the view from above in the horizontal plane
// at hub height. Lengths in mm in the vehicle frame (x right, y forward).
type TopView struct {
	HeightMm float64
	Cameras  []PlacedCamera // one for each photo, in the order of Result.Photos
	Rims     [2]RimLine     // left, right
}

// PlacedCamera projects scene points: pixel = Camera.Project(Pose.Apply(X)).
type PlacedCamera struct {
	Camera calib.Camera
	Pose   calib.Pose
}

// RimLine is where a rim's inner edge circle meets the plane at hub height, the
// points between which a tape would measure.
type RimLine struct {
	Front, Rear [2]float64
}

// Measurement is a Result with what is needed to draw it.
type Measurement struct {
	Result   Result
	Overlays []Overlay // one for each photo, in the order of Result.Photos
	Top      TopView
	Cameras  []RefinedCamera // that the photos were taken with
}
