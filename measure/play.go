package measure

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file finds the free play of a front wheel from photos of it pushed in and pulled
// out. Between both states the wheel turned by a small vector, of which the change of
// heading lies about the upright axis (play of kingpin or toe) and the change of tilt about
// the lengthwise axis (play of the wheel's bearing). What the other wheel did as well, such
// as steering or a vehicle that leaned, is no play of this one: the play is the change
// of one wheel less that of the other. A wheel that turns by the angle δ about its hub moves
// sideways by R δ at the rim's edge, of radius R: what a gauge held there reads.
//
// Whether there is play at all is asked of both components together: χ² with two degrees of
// freedom (see lean).

// Play is the free play of one front wheel.
type Play struct {
	Schema          string    `json:"schema"` // "rimpair/play/1"
	Side            string    `json:"side"`
	Found           bool      `json:"found"` // it can be told from zero, with 95 % confidence
	AtRimMm         Quantity  `json:"at_rim_mm"`
	AngleDeg        Quantity  `json:"angle_deg"`
	UprightDeg      Quantity  `json:"upright_deg"`    // about the upright axis, more toe-in positive
	LengthwiseDeg   Quantity  `json:"lengthwise_deg"` // about the lengthwise axis, top farther out positive
	Axis            string    `json:"axis"`           // "upright", "lengthwise", "both", "none"
	SidewaysMm      Quantity  `json:"sideways_mm"`    // of the wheel's middle along its axle, outward positive
	ChiSquarePerDof float64   `json:"chi_square_per_dof"`
	Notes           []Message `json:"note_codes"`
	EnglishNotes    []string  `json:"notes"`
}

// Axes of play.
const (
	axisUpright    = "upright"
	axisLengthwise = "lengthwise"
	axisBoth       = "both"
	axisNone       = "none"
)

// otherMovedRad is by how much the other wheel has to turn for a note: what 0.2 mm at
// the rim are.
const otherMovedRad = 0.2 / 200

// FindPlay measures the play between two states of a wheel. Without a side given, the wheel
// that turned farther is taken.
func FindPlay(states []State, side *Side, settings Settings) (*Play, error) {
	if len(states) != 2 {
		return nil, errors.New("play needs two states of a wheel: pushed in and pulled out")
	}
	m, f, err := fitStates(states, settings)
	if err != nil {
		return nil, err
	}
	var turned [2]lean
	for i := range turned {
		turned[i] = f.leanOf(func(s *Scene, number int) float64 { return s.Changes[1][i].turned(number) })
	}
	moved := Left
	if side != nil {
		moved = *side
	} else if turned[Right].zSquared() > turned[Left].zSquared() {
		moved = Right
	}
	return m.play(f, moved, turned[1-moved]), nil
}

// turned is by how much a wheel turned, by its heading and by its tilt.
func (c *Change) turned(number int) float64 {
	if number == leanHeading {
		return c.HeadingRad
	}
	return c.TiltRad
}

// leanOf is a small angle of the scene, with both of its components.
func (f *fitted) leanOf(of func(s *Scene, number int) float64) lean {
	c := f.jointCovariance(leanNumbers, of)
	return lean{
		value:      [2]float64{of(f.scene, leanHeading), of(f.scene, leanTilt)},
		covariance: [3]float64{c.At(0, 0), c.At(0, 1), c.At(1, 1)},
	}
}

func (m *set) play(f *fitted, side Side, other lean) *Play {
	// Inward and outward are the other way round on the other side.
	of := func(s *Scene, number int) float64 {
		sign := side.sign()
		if number == leanTilt {
			sign = -sign
		}
		return sign * (s.Changes[1][side].turned(number) - s.Changes[1][1-side].turned(number))
	}
	turned := f.leanOf(of)
	p := &Play{
		Schema: "rimpair/play/1", Side: side.String(), Found: turned.real(),
		AtRimMm: turned.size(m.rimRadius(f.scene, side)), AngleDeg: turned.size(degPerRad),
		UprightDeg:    f.quantity(func(s *Scene) float64 { return of(s, leanHeading) * degPerRad }),
		LengthwiseDeg: f.quantity(func(s *Scene) float64 { return of(s, leanTilt) * degPerRad }),
		SidewaysMm: f.quantity(func(s *Scene) float64 {
			axle := s.Wheels[side].tyreAxes().axle
			return side.sign() * r3.Dot(axle, r3.Sub(s.Changes[1][side].Move, s.Changes[1][1-side].Move))
		}),
		ChiSquarePerDof: f.chiSquarePerDof(),
		Notes:           []Message{{Code: "play_held"}},
	}
	p.Axis = axisOf(p.Found, p.UprightDeg, p.LengthwiseDeg)
	if other.real() && math.Hypot(other.value[0], other.value[1]) > otherMovedRad {
		p.Notes = append(p.Notes, Message{"other_wheel_turned", Params{
			"other": (1 - side).String(), "degrees": math.Hypot(other.value[0], other.value[1]) * degPerRad, "side": side.String(),
		}})
	}
	return p
}

// axisOf names the axis about which play was found: the one whose part alone can be told
// from zero, or both.
func axisOf(found bool, upright, lengthwise Quantity) string {
	told := func(q Quantity) bool { return q.Low95 > 0 || q.High95 < 0 }
	switch {
	case !found:
		return axisNone
	case told(upright) && told(lengthwise):
		return axisBoth
	case told(upright):
		return axisUpright
	case told(lengthwise):
		return axisLengthwise
	}
	return axisBoth // found together, neither alone
}
