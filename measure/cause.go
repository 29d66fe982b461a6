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

// nearSizesMm is by how much they must differ where only the rims' edges tell them apart, or only
// that the photos agree: the edge of a dark rim in a pale tyre shades off into the crease, and seems
// up to 5 mm larger across. 349 and 355 mm are not told apart by that, nor need they be: toe differs
// by 2 %. (Of 48 sets, pairs and photos told the other one of the two 40 were measured all the same;
// unclear photos agreed on the wrong one in two of three that agreed on one.)
const nearSizesMm = 8.0

// likelyCause is the refusal that names what was said wrong, or err as it is.
func (m *set) likelyCause(err error) error {
	refusal := refusedAs(err, doubtful...)
	if refusal == nil {
		return err
	}
	if m.sizeSaid() {
		other := m.unsized()
		least := nearSizesMm
		if refusal.Code == "size_mismatch" {
			least = leastSizeOffMm // the rims or the tyres themselves are off
		}
		if _, unsolved := other.solve(); unsolved == nil && m.sizeOffMm(other) > least {
			return m.wrongSize(other)
		}
	}
	if len(m.settings.Cameras) > 0 {
		unsaid := m.settings
		unsaid.Cameras = nil
		if _, _, err := solve(m.inputs, unsaid); err == nil {
			return &vision.Refusal{
				Code: "camera_mismatch", Photo: refusal.Photo,
				Reason: "The camera profile does not hold for these photos: without it they agree.",
				Remedy: "Measure without a profile (--camera none), or calibrate the phone anew (rimpair camera).",
			}
		}
	}
	return err
}

// refusedAs is the refusal that err is, if it has one of these codes, else nil.
func refusedAs(err error, codes ...string) *vision.Refusal {
	var refusal *vision.Refusal
	if !errors.As(err, &refusal) || !slices.Contains(codes, refusal.Code) {
		return nil
	}
	return refusal
}

func (m *set) sizeSaid() bool { return m.settings.beadSeatMm() != 0 }

// unsized are the same photos as if no size of the rims had been said.
func (m *set) unsized() *set {
	other := *m
	other.settings.BeadSeatMm, other.settings.RimOuterMm = 0, 0
	other.knowledge.edgeSigma = 0
	return &other
}

// sizeOffMm is by how much the photos agree on another size than was said.
func (m *set) sizeOffMm(unsized *set) float64 {
	return math.Abs(2*unsized.knowledge.rims[Left] - m.settings.beadSeatMm())
}

// verifySaid refuses a solution that speaks less for the size that was said than another does.
func (m *set) verifySaid(f *fitted) error {
	if !m.sizeSaid() {
		return nil
	}
	other := m.rimsElsewhere(f)
	if other == nil {
		other = m.bareElsewhere()
	}
	if other != nil {
		return m.wrongSize(other)
	}
	return nil
}

// rimsElsewhere is the set with a size that puts both rims where their edges are seen, where with
// the one that was said none is; else nil. Where the tyres are is known then.
func (m *set) rimsElsewhere(f *fitted) *set {
	if m.rimSeen(Left) || m.rimSeen(Right) {
		return nil
	}
	other := m.resized([]pairGuess{newPairGuess(m.guesses(f.scene))}, m.approach)
	if other == nil || m.sizeOffMm(other) <= nearSizesMm || !other.rimSeen(Left) || !other.rimSeen(Right) {
		return nil
	}
	return other
}

// bareElsewhere is the set with a size of which both tyres are seen all around, where with the one
// that was said only their lower parts are, as under mudguards; else nil. Where they stand the
// search with the size that was said tells well enough.
func (m *set) bareElsewhere() *set {
	if !m.lowerAlone() {
		return nil
	}
	other := m.resized(m.pairs, approach{})
	if other == nil || m.sizeOffMm(other) <= leastSizeOffMm || !other.allAround() {
		return nil
	}
	return other
}

// resized is the set as if no size had been said, solved from some pairs of wheels with every usual
// size; nil where that is not believed.
func (m *set) resized(pairs []pairGuess, a approach) *set {
	other := m.unsized()
	other.approach = a
	if _, err := other.solveFrom(other.newFinder(other.scene).resized(pairs)); err != nil {
		return nil
	}
	return other
}

// guesses are both wheels of a scene as the search has them.
func (m *set) guesses(s *Scene) [2]guess {
	var list [2]guess
	for side := range list {
		w := &s.Wheels[side]
		list[side] = guess{
			x: w.Centre.X, y: w.Centre.Y, headingRad: w.HeadingRad, tiltRad: w.TiltRad,
			outer: w.Ring + w.Tube, bead: m.knowledge.rims[side],
		}
	}
	return list
}

// wrongSize names both that a size can be wrong by: what was said of the rims, and what
// was not of the print, as long as a printer could have done that.
func (m *set) wrongSize(unsized *set) error {
	said, found := m.settings.beadSeatMm(), 2*unsized.knowledge.rims[Left]
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
func bentSheet(inputs []Input, settings Settings, err error) error {
	refusal := refusedAs(err, "sheets_moved")
	if refusal == nil {
		return err
	}
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
