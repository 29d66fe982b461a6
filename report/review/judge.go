// Package review looks at photos that somebody took or sent: what each is worth and what
// to change when it is taken again (judge.go), which are of one visit to one vehicle
// (group.go), and what those measure together (settle.go); run.go leads through all of it:
// file → photo with its judgement → group → measurement. Replies are drafted by package
// report.
package review

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rimpair/measure"
	"rimpair/vision"
)

// Verdicts on a photo.
const (
	Good   = "good"
	Usable = "usable" // it can help, a better one would help more
	Repeat = "repeat" // it cannot be measured
)

// Finding is one thing that is wrong with a photo.
type Finding struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Remedy string `json:"remedy"`
}

// Judgement is what a photo is worth.
type Judgement struct {
	Verdict  string    `json:"verdict"`
	Findings []Finding `json:"findings"`
	Sheets   []int     `json:"sheets"`
	SquarePx float64   `json:"square_px"` // of the sheet that is seen smallest
	BlurPx   float64   `json:"blur_px"`
	Exposure string    `json:"exposure,omitempty"` // of the sheets: good, too_bright, too_dark
	Black    int       `json:"black"`              // level of the sheets, 0 to 255
	White    int       `json:"white"`
	Angle    string    `json:"angle,omitempty"` // front, rear, left, right, corner, above
	Pitch    float64   `json:"pitch_deg"`       // how steeply the camera looks down on the sheets
	Wheels   []string  `json:"wheels"`          // front wheels that seem to be seen: left, right
	Seconds  float64   `json:"seconds"`

	Curves []measure.Curve `json:"-"` // where the wheels seem to be, for drawing
}

// Limits of a good photo.
const (
	wantedSquarePx = 40  // README: squares of 40 px and more are wanted
	sharpPx        = 2.0 // a sharp phone photo has 0.7 to 1.4 (vision.BlurPx)
	burntLevel     = 252 // white paper this bright has lost its edges
	leastContrast  = 50  // of the sheets' white over their black, common practice, no source
	flatDeg        = 15  // under which circles on the wheels and sheets run together; common practice, no source
	wholeShare     = 0.97
)

// Judge says what a photo is worth; the rims' bead seat diameter is 0 where it is not
// known. begun is when the photo began to be read.
func Judge(photo *vision.Photo, beadSeatMm float64, begun time.Time) Judgement {
	_, _, j := judge(photo, beadSeatMm, begun)
	return j
}

// judge also returns the sheets' corners and where the photo was taken, as far as they
// were found.
func judge(photo *vision.Photo, beadSeatMm float64, begun time.Time) (corners []vision.Corner, stand measure.Stand, j Judgement) {
	j = empty()
	defer func() { j.Seconds = time.Since(begun).Seconds() }()
	corners, err := vision.FindSheets(photo.Gray)
	if err != nil {
		j.refuse(err)
		return nil, stand, j
	}
	j.sheets(corners)
	j.light(photo.Gray, corners)
	in := measure.Input{Photo: photo, Corners: corners}
	sight, err := measure.LookAt(in, beadSeatMm)
	if err != nil {
		j.refuse(err)
		return corners, stand, j
	}
	j.Angle, j.Pitch = angle(sight.Stand), sight.Stand.PitchDeg
	if j.Pitch < flatDeg {
		j.find(Usable, "too_flat", fmt.Sprintf("The camera looked only %.0f° down onto the sheets.", j.Pitch), "Hold the phone higher.")
	}
	j.wheels(sight)
	return corners, sight.Stand, j
}

// Refused is the judgement of a photo that cannot be read.
func Refused(err error) Judgement {
	j := empty()
	j.refuse(err)
	return j
}

func empty() Judgement {
	return Judgement{Verdict: Good, Findings: []Finding{}, Sheets: []int{}, Wheels: []string{}}
}

// find adds a finding; the verdict is the worst that any asks for.
func (j *Judgement) find(verdict, code, text, remedy string) {
	j.Findings = append(j.Findings, Finding{code, text, remedy})
	order := []string{Good, Usable, Repeat}
	j.Verdict = order[max(slices.Index(order, j.Verdict), slices.Index(order, verdict))]
}

func (j *Judgement) refuse(err error) {
	var refusal *vision.Refusal
	if !errors.As(err, &refusal) {
		refusal = &vision.Refusal{Code: "unreadable", Reason: err.Error(), Remedy: "Take the photo again."}
	}
	j.find(Repeat, refusal.Code, refusal.Reason, refusal.Remedy)
}

func (j *Judgement) sheets(corners []vision.Corner) {
	j.SquarePx = math.Inf(1)
	for i, c := range corners {
		if i == 0 || c.Sheet != corners[i-1].Sheet {
			j.Sheets = append(j.Sheets, c.Sheet)
			j.SquarePx = min(j.SquarePx, vision.SquarePx(corners, c.Sheet))
		}
	}
	j.BlurPx = vision.BlurPx(corners)
	if j.SquarePx < wantedSquarePx {
		j.find(Usable, "too_far", fmt.Sprintf("A sheet is small in the photo: its squares are %.0f px wide, %d are wanted.", j.SquarePx, wantedSquarePx),
			"Go closer, or use the camera's full resolution, with both front wheels still whole in the photo.")
	}
	if len(j.Sheets) == 1 {
		j.find(Usable, "one_sheet", "Only one sheet was seen.", "Lay both sheets so that each photo shows both whole.")
	}
	if j.BlurPx > sharpPx {
		j.find(Usable, "blurred", fmt.Sprintf("The photo is not sharp: edges spread over %.1f px.", j.BlurPx), "Hold the phone still, give more light, and take it again.")
	}
}

// wheels says whether both front wheels are seen, and whole. Whether a photo's wheels can
// be measured shows when all photos are measured together: one in which they do not stand
// out may still help the others.
func (j *Judgement) wheels(sight *measure.Sight) {
	if len(sight.Wheels) == 0 {
		j.find(Repeat, "wheels_not_found", "No two front wheels were found beside the sheets.",
			"Take the photo so that both front wheels and the sheets are whole in it, the wheels standing on the floor, the sheets' arrows forward.")
		return
	}
	for _, w := range sight.Wheels {
		j.Wheels = append(j.Wheels, w.Side.String())
		j.Curves = append(j.Curves, w.Curves...)
		if w.Inside < wholeShare {
			j.find(Usable, "wheel_cut_off."+w.Side.String(), fmt.Sprintf("The vehicle's %s front wheel is cut off.", w.Side),
				"Step back one pace, or turn the phone, so that both front wheels and the sheets are whole in the photo.")
		}
	}
	if sight.Score < measure.SureScore {
		j.find(Usable, "wheels_unsure", "The front wheels do not stand out clearly from what is around them.",
			"Choose an even floor lighter than the tyres, take mudguards and bags off where that is easy, and add photos from other sides.")
	}
}

// light reads the sheets' black and white beside their corners.
func (j *Judgement) light(g *vision.Gray, corners []vision.Corner) {
	// Near the corner: a little further in, white squares hold black markers.
	reach := max(3, 0.1*j.SquarePx)
	var levels []uint8
	for _, c := range corners {
		for k := range 8 { // all around, as the sheet may lie turned in the photo
			sin, cos := math.Sincos(float64(k) * math.Pi / 4)
			x, y := int(math.Round(c.X+reach*cos)), int(math.Round(c.Y+reach*sin))
			if x >= 0 && y >= 0 && x < g.Width && y < g.Height {
				levels = append(levels, g.At(x, y))
			}
		}
	}
	if len(levels) == 0 {
		return
	}
	slices.Sort(levels)
	// Percentiles: some corners lie in glare or shadow.
	j.Black, j.White, j.Exposure = int(levels[len(levels)/20]), int(levels[len(levels)*19/20]), Good
	switch {
	case j.White >= burntLevel:
		j.Exposure = "too_bright"
		j.find(Usable, j.Exposure, "The sheets' white is burnt out.", "Take the photo darker: touch the sheet on the phone's screen first.")
	case j.White-j.Black < leastContrast:
		j.Exposure = "too_dark"
		j.find(Usable, j.Exposure, "The sheets' white hardly stands out from their black.", "Give more light, without glare on the sheets.")
	}
}

// angle names where a photo was taken from, as the sheets' arrows say where forward is.
func angle(s measure.Stand) string {
	if s.PitchDeg > aboveDeg {
		return "above"
	}
	names := [8]string{"front", "corner", "right", "corner", "rear", "corner", "left", "corner"}
	return names[eighth(s)]
}

// eighth is the part of the way around, counted from the front over the right, that a
// photo was taken from.
func eighth(s measure.Stand) int { return (int(math.Round(s.BearingDeg/45)) + 8) % 8 }

// aboveDeg is the pitch from which on a photo is one from above.
const aboveDeg = 70
