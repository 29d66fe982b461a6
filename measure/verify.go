package measure

import (
	"fmt"
	"math"
	"path/filepath"

	"rimpair/vision"
)

// This file asks of a solution whether a careful eye would believe it.

const (
	// agreeingPx is the distance within which an edge agrees with the solution.
	agreeingPx = 0.5
	// clearShare of a tyre's outline, where photos could show it, settles the wheel by
	// itself; with the rim's edge found about the same axle a smaller one does.
	clearShare     = 0.5
	rimClearShare  = 0.5
	leastShare     = 0.2
	leastPhotoSay  = 0.12 // of a photo's outlines, below which it shows something else
	fewProbes      = 40
	maxTyreDiffMm  = 4.0 // between the outer diameters of the two tyres
	maxRimDiffMm   = 2.0 // between the diameters of the two rims
	maxRimOffMm    = 2.5 // of the rim's radius from what the bead seat makes expect
	maxSectionOff  = 9.0 // of the tyre's inner radius from the bead seat
	maxChiSquare   = 4.0
	maxStrayShare  = 0.2 // of a photo's corners that miss
	strayCornerPx  = 1.5
	maxToeUncertMm = 10.0
)

// verifyCameras refuses photos whose sheets do not fit together.
func (m *set) verifyCameras() error {
	total, stray := make([]int, len(m.inputs)), make([]int, len(m.inputs))
	for i, r := range m.cornerResiduals(m.scene) {
		photo := m.corners[i].photo
		total[photo]++
		if r > strayCornerPx {
			stray[photo]++
		}
	}
	for photo := range total {
		if float64(stray[photo]) > maxStrayShare*float64(total[photo]) {
			return &vision.Refusal{
				Code: "sheets_moved", Photo: m.inputs[photo].Photo.Path,
				Reason: fmt.Sprintf("%d of the %d sheet corners in this photo do not lie where the other photos put them.", stray[photo], total[photo]),
				Remedy: "Leave the sheets where they are from the first photo to the last, flat and weighted against wind, and take the set again.",
			}
		}
	}
	return nil
}

// verify refuses a solution that is not clearly the two wheels.
func (m *set) verify(f *fitted) error {
	if chi := f.chiSquarePerDof(); chi > maxChiSquare {
		return m.unsettled(fmt.Errorf("their residuals are %.1f times as large as they should be", math.Sqrt(chi)))
	}
	if err := m.verifyPhotos(f); err != nil {
		return err
	}
	for side := range f.scene.Wheels {
		if err := m.verifyWheel(f, Side(side)); err != nil {
			return err
		}
	}
	if err := m.verifySize(f); err != nil {
		return err
	}
	l, r := &f.scene.Wheels[Left], &f.scene.Wheels[Right]
	if d := 2 * math.Abs(l.Ring+l.Tube-r.Ring-r.Tube); d > maxTyreDiffMm {
		return unclear("", fmt.Sprintf("The two tyres seem to differ by %.0f mm in diameter: something else was taken for one of them.", d))
	}
	if u := f.quantity(m.totalToeMm).StandardUncertainty; !(u < maxToeUncertMm) {
		return m.unsettled(fmt.Errorf("total toe would be uncertain by %.0f mm", u))
	}
	return nil
}

func unclear(photo, reason string) error {
	return &vision.Refusal{
		Code: "wheel_unclear", Photo: photo, Reason: reason,
		Remedy: "Take mudguards and bags off the wheels where that is easy, choose an even floor lighter than the tyres, and add photos from two opposite corners.",
	}
}

// verifyPhotos refuses a photo that shows none of what the others show.
func (m *set) verifyPhotos(f *fitted) error {
	for photo := range f.scene.Photos {
		probes, agreeing := 0, 0
		for side := range f.scene.Wheels {
			p, a := m.outlineCount(f, photo, Side(side))
			probes, agreeing = probes+p, agreeing+a
		}
		name := m.inputs[photo].Photo.Path
		if probes < fewProbes {
			return &vision.Refusal{
				Code: "wheels_cut_off", Photo: name,
				Reason: "The front wheels lie outside this photo.",
				Remedy: "Step back until both front wheels and the sheets are whole in the photo.",
			}
		}
		if float64(agreeing) < leastPhotoSay*float64(probes) && len(m.inputs) > 1 {
			return &vision.Refusal{
				Code: "photo_disagrees", Photo: name,
				Reason: "The wheels are not where the other photos put them.",
				Remedy: fmt.Sprintf("If vehicle or sheets were moved before or after %s, take the whole set again without moving anything; else leave this photo out.", filepath.Base(name)),
			}
		}
	}
	return nil
}

func (m *set) verifyWheel(f *fitted, side Side) error {
	probes, agreeing := 0, 0
	for photo := range f.scene.Photos {
		p, a := m.outlineCount(f, photo, side)
		probes, agreeing = probes+p, agreeing+a
	}
	share := float64(agreeing) / float64(max(1, probes))
	rim := 0.0
	for _, edge := range m.rims[side] {
		if edge.found {
			rim = max(rim, edge.share)
		}
	}
	if share < leastShare || share < clearShare && rim < rimClearShare {
		return unclear("", fmt.Sprintf("Only %.0f %% of the %s tyre's outline is seen clearly, and not enough of its rim.", 100*share, side))
	}
	return nil
}

// verifySize refuses rims that are not of the size that was given, which a sheet
// printed at another scale shows as well.
func (m *set) verifySize(f *fitted) error {
	for side := range f.scene.Wheels {
		w := &f.scene.Wheels[side]
		off := w.Ring - w.Tube - m.knowledge.rims[side]
		limit := maxSectionOff
		if m.rimSeen(Side(side)) {
			off = m.rimRadius(f.scene, Side(side)) - m.knowledge.rims[side] - flangeHeightMm
			limit = maxRimOffMm
		}
		if math.Abs(off) > limit {
			return &vision.Refusal{
				Code: "size_mismatch",
				Reason: fmt.Sprintf("The %s rim seems %.0f mm %s in diameter than a rim of %.0f mm bead seat.",
					Side(side), math.Abs(2*off), map[bool]string{true: "larger", false: "smaller"}[off > 0], 2*m.knowledge.rims[side]),
				Remedy: "Check --rim against the number on the tyre (305, 349, 355, 406, 451, ...), and that the ruler on the printed sheet measures 100 mm.",
			}
		}
	}
	if !m.rimSeen(Left) || !m.rimSeen(Right) {
		return nil
	}
	if d := 2 * math.Abs(m.rimRadius(f.scene, Left)-m.rimRadius(f.scene, Right)); d > maxRimDiffMm {
		return unclear("", fmt.Sprintf("The two rims seem to differ by %.1f mm in diameter: another edge was taken for one of them.", d))
	}
	return nil
}

// outlineCount is how many places of a tyre's outline a photo could show, and how
// many of them agree with the solution.
func (m *set) outlineCount(f *fitted, photo int, side Side) (probes, agreeing int) {
	c := newLocus(&f.scene.Wheels[side], TyreOuter, 0, f.scene.view(photo))
	probes = len(m.probes(&c, photo, probeSpacingPx, outlineVisible))
	residuals := f.adjustment.edgeResiduals(f.scene)
	for i, o := range f.adjustment.edges {
		if o.photo == photo && o.side == side && o.kind == TyreOuter && math.Abs(residuals[i]) < agreeingPx {
			agreeing++
		}
	}
	return probes, agreeing
}
