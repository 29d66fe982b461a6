package samples

import "math"

// Side says which wheel it is.
type Side int

const (
	Rear Side = iota
	Left
	Right
)

// outward is the sign of x away from the vehicle. The rear wheel counts as a right
// one, so that its heading is positive when it rolls to the left, and its camber
// positive when it leans to the right.
func (s Side) outward() float64 {
	if s == Left {
		return -1
	}
	return 1
}

// ToeDeg is the angle of a wheel's rolling direction against the y axis, positive
// when the wheel's front points inward.
func ToeDeg(s Side, axis vec) float64 {
	return s.outward() * degrees(math.Atan2(axis.Y, axis.X))
}

// CamberDeg is positive when the wheel's top leans outward.
func CamberDeg(s Side, axis vec) float64 {
	return -s.outward() * degrees(math.Asin(axis.Z))
}

// TotalToeMm is the toe of the pair at the rim.
func TotalToeMm(rimDiameterMm, leftDeg, rightDeg float64) float64 {
	return rimDiameterMm * (math.Sin(radians(leftDeg)) + math.Sin(radians(rightDeg)))
}

// flangeRoundMm is the radius of the flange's rounded crest.
const flangeRoundMm = 1

// RimTruth is a rim as it stands in the scene.
type RimTruth struct {
	Side              Side
	Hub, Axis         vec
	DiameterMm, Width float64
}

// innerEdge returns the foremost and the rearmost point of the inner flange's crest.
func (r RimTruth) innerEdge() (front, rear vec) {
	centre := minus(r.Hub, times(r.Side.outward()*(r.Width/2-flangeRoundMm), r.Axis))
	forward := unit(cross(vec{Z: 1}, r.Axis))
	reach := times(r.DiameterMm/2, forward)
	return plus(centre, reach), minus(centre, reach)
}

// GapsMm are the distances a tape reads between the rims' inner edges.
func GapsMm(left, right RimTruth) (front, rear float64) {
	lf, lr := left.innerEdge()
	rf, rr := right.innerEdge()
	return norm(minus(rf, lf)), norm(minus(rr, lr))
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func radians(deg float64) float64 { return deg * math.Pi / 180 }

// Truth is the content of truth.json: what was photographed, exactly.
type Truth struct {
	Family string       `json:"family"`
	Frame  string       `json:"frame"`
	Sheets []SheetTruth `json:"sheets"`
	Photos []PhotoTruth `json:"photos"`
}

// frameNote explains the frame inside truth.json.
const frameNote = "x right, y forward, z up, mm; world point X projects with R (X - camera_position); pixel centres at whole numbers"

// SheetTruth says where a sheet lies.
type SheetTruth struct {
	Number     int        `json:"number"`
	XMm        float64    `json:"x_mm"`
	YMm        float64    `json:"y_mm"`
	YawDeg     float64    `json:"yaw_deg"`
	ZMm        float64    `json:"z_mm"`
	CornerLift [4]float64 `json:"corner_lift_mm"`
	Scale      float64    `json:"print_scale"`
	ScaleX     float64    `json:"scale_x"`
	ScaleY     float64    `json:"scale_y"`
}

// PhotoTruth is one photo's camera and the vehicle's state in it.
type PhotoTruth struct {
	File             string             `json:"file"`
	ValvePosition    string             `json:"valve_position"`
	CameraMatrix     [3][3]float64      `json:"camera_matrix"`
	Distortion       [5]float64         `json:"distortion"` // k1 k2 p1 p2 k3
	Size             [2]int             `json:"size"`
	R                [3][3]float64      `json:"R"`
	CameraPositionMm [3]float64         `json:"camera_position_mm"`
	Orientation      int                `json:"exif_orientation"`
	Develop          DevelopTruth       `json:"develop"`
	JPEGQuality      int                `json:"jpeg_quality"`
	VisibleRim       map[string]float64 `json:"visible_rim_fraction,omitempty"`
	State            *StateTruth        `json:"truth,omitempty"`
}

// DevelopTruth is what the phone did to the picture.
type DevelopTruth struct {
	BlurPx   float64 `json:"blur"`
	ISO      float64 `json:"iso"`
	MotionPx float64 `json:"motion"`
}

// StateTruth is the vehicle as it stands in a photo.
type StateTruth struct {
	TotalToeMm    float64 `json:"total_toe_mm"`     // of the axles
	RimTotalToeMm float64 `json:"rim_total_toe_mm"` // of the rims as they stand
	GapFrontMm    float64 `json:"gap_front_mm"`
	GapRearMm     float64 `json:"gap_rear_mm"`
	TrackMm       float64 `json:"track_mm"`
	WheelbaseMm   float64 `json:"wheelbase_mm"`
	SteerDeg      float64 `json:"steer_deg"`
	Wheels        struct {
		L WheelTruth `json:"L"`
		R WheelTruth `json:"R"`
		C WheelTruth `json:"C"`
	} `json:"wheels"`
}

// WheelTruth is one wheel as it stands in a photo; toe is null for the rear wheel.
type WheelTruth struct {
	ToeDeg         *float64   `json:"toe_deg"`
	RimToeDeg      *float64   `json:"rim_toe_deg"`
	HeadingDeg     float64    `json:"heading_deg"` // counter-clockwise seen from above
	CamberDeg      float64    `json:"camber_deg"`
	RimCamberDeg   float64    `json:"rim_camber_deg"`
	RimAxis        [3]float64 `json:"rim_axis"`
	Axle           [3]float64 `json:"axle"`
	HubMm          [3]float64 `json:"hub_mm"`
	RimDiameterMm  float64    `json:"rim_outer_diameter_mm"`
	RimWidthMm     float64    `json:"rim_width_mm"`
	BeadSeatMm     float64    `json:"bead_seat_diameter_mm"`
	RunoutMm       float64    `json:"runout_pp_mm"`
	WobbleMm       float64    `json:"tyre_wobble_pp_mm"`
	TyreAxis       [3]float64 `json:"tyre_axis"`
	TyreWidthMm    float64    `json:"tyre_width_mm"`
	TyreDiameterMm float64    `json:"tyre_outer_diameter_mm"`
}

// newWheelTruth derives a wheel's numbers from where it stands.
func newWheelTruth(s Side, hub, axle, rim, tyre vec) WheelTruth {
	w := WheelTruth{
		HeadingDeg:   degrees(math.Atan2(axle.Y, axle.X)),
		CamberDeg:    CamberDeg(s, axle),
		RimCamberDeg: CamberDeg(s, rim),
		RimAxis:      array(rim),
		Axle:         array(axle),
		TyreAxis:     array(tyre),
		HubMm:        array(hub),
	}
	if s != Rear {
		toe, rimToe := ToeDeg(s, axle), ToeDeg(s, rim)
		w.ToeDeg, w.RimToeDeg = &toe, &rimToe
	}
	return w
}

// newStateTruth derives what follows from the three wheels together.
func newStateTruth(l, r, c WheelTruth) StateTruth {
	s := StateTruth{
		TotalToeMm:    TotalToeMm(l.RimDiameterMm, *l.ToeDeg, *r.ToeDeg),
		RimTotalToeMm: TotalToeMm(l.RimDiameterMm, *l.RimToeDeg, *r.RimToeDeg),
		TrackMm:       r.HubMm[0] - l.HubMm[0],
		WheelbaseMm:   -c.HubMm[1],
	}
	s.GapFrontMm, s.GapRearMm = GapsMm(l.rim(Left), r.rim(Right))
	s.Wheels.L, s.Wheels.R, s.Wheels.C = l, r, c
	return s
}

func (w WheelTruth) rim(s Side) RimTruth {
	return RimTruth{Side: s, Hub: vector(w.HubMm), Axis: vector(w.RimAxis), DiameterMm: w.RimDiameterMm, Width: w.RimWidthMm}
}

func array(v vec) [3]float64  { return [3]float64{v.X, v.Y, v.Z} }
func vector(a [3]float64) vec { return vec{X: a[0], Y: a[1], Z: a[2]} }
