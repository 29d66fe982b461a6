package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"rimpair/vision"
)

// This file looks for the likely cause of a refusal: where photos contradict what the
// person said, they are measured again as if it had not been said. If that settles
// everything, and otherwise, what was said is wrong.

// doubtful are refusals that something wrong that was said can lead to.
var doubtful = []string{"photo_disagrees", "size_mismatch", "wheel_unclear", "wheels_not_found", "not_settled"}

// leastSizeOffMm is by how much bead seat diameters of different sizes differ at least:
// 349 and 355 mm by 6, and the guess is off by less than half of that.
const leastSizeOffMm = 3.0

// likelyCause is the refusal that names what was said wrong, or err as it is.
func likelyCause(inputs []Input, settings Settings, err error) error {
	var refusal *vision.Refusal
	if !errors.As(err, &refusal) {
		return err
	}
	if refusal.Code == "sheets_moved" {
		return bentSheet(inputs, settings, refusal)
	}
	if !slices.Contains(doubtful, refusal.Code) {
		return err
	}
	if _, wrong := otherSize(inputs, settings); wrong != nil {
		return wrong
	}
	if len(settings.Cameras) > 0 {
		unsaid := settings
		unsaid.Cameras = nil
		if _, _, err := solve(inputs, unsaid); err == nil {
			return &vision.Refusal{
				Code: "camera_mismatch", Photo: refusal.Photo,
				Reason: "The camera profile does not hold for these photos: without it they agree.",
				Remedy: "Measure without a profile (--camera none), or calibrate the phone anew (rimpair camera).",
			}
		}
	}
	return err
}

// otherSize is a refusal where the photos agree on another size than was said, and how
// they are then solved.
func otherSize(inputs []Input, settings Settings) (*set, error) {
	said := settings.beadSeatMm()
	if said == 0 {
		return nil, nil
	}
	settings.BeadSeatMm, settings.RimOuterMm = 0, 0
	m, _, err := solve(inputs, settings)
	if err != nil {
		return nil, nil
	}
	found := 2 * m.knowledge.rims[Left]
	if math.Abs(found-said) <= leastSizeOffMm {
		return nil, nil
	}
	return m, wrongSize(said, found)
}

// verifySaid refuses a solution in which no rim is seen where its size puts it, but both
// are with another size.
func (m *set) verifySaid(inputs []Input, settings Settings) error {
	if m.rimSeen(Left) || m.rimSeen(Right) {
		return nil
	}
	if other, wrong := otherSize(inputs, settings); wrong != nil && other.rimSeen(Left) && other.rimSeen(Right) {
		return wrong
	}
	return nil
}

// wrongSize names both that a size can be wrong by: what was said of the rims, and what
// was not of the print, as long as a printer could have done that.
func wrongSize(said, found float64) error {
	r := &vision.Refusal{
		Code:   "size_mismatch",
		Reason: fmt.Sprintf("The wheels do not fit a bead seat of %.0f mm; with %.0f mm the photos agree.", said, found),
		Remedy: "Check the size against the number on the tyre (305, 349, 355, 406, 451, ...), and that the ruler on the printed sheet measures 100 mm.",
	}
	if printed := 100 * said / found; printed > 85 && printed < 115 {
		r.Reason += fmt.Sprintf(" If the size is right, the sheets were printed at about %.0f %%.", printed)
	}
	return r
}

// bentWarpMm is how far paper may lift when it is asked whether it does.
const bentWarpMm = 10.0

// bentSheet adds to a refusal for sheets that do not fit together that one is bent, where
// that explains it.
func bentSheet(inputs []Input, settings Settings, refusal *vision.Refusal) error {
	m, err := newSet(inputs, settings)
	if err != nil {
		return refusal
	}
	m.knowledge.warpSigma = bentWarpMm
	if m.adjustCameras() != nil || m.verifyCameras() != nil || m.verifySheets() != nil {
		return refusal
	}
	worst, lift := 0, 0.0
	for i, sheet := range m.scene.Sheets {
		for _, w := range sheet.Warp {
			if math.Abs(w) > lift {
				worst, lift = i, math.Abs(w)
			}
		}
	}
	bent := *refusal
	bent.Reason = fmt.Sprintf("Sheet %d does not lie flat: it bends by some %.0f mm.", m.scene.Sheets[worst].Number, math.Ceil(lift))
	bent.Photo = ""
	return &bent
}
