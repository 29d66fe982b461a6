package measure

import (
	"errors"
	"math"
)

// This file compares states of one vehicle: unloaded and with the rider, before a turn of
// the tie rods and after. Each figure of a state and each change is a function of the
// one scene that all photos were adjusted to (states.go), so that its uncertainty
// follows from the unknowns' full covariance (JCGM 100, equation 13): what both
// states share cancels in their difference. Nothing of it needs to be known apart.

// Comparison is what states have in figures and how they changed.
type Comparison struct {
	Schema          string        `json:"schema"` // "rimpair/comparison/1"
	States          []StateResult `json:"states"`
	Changes         []StateChange `json:"changes"` // of each state against the first
	ChiSquarePerDof float64       `json:"chi_square_per_dof"`
	Notes           []Message     `json:"note_codes"`
	EnglishNotes    []string      `json:"notes"`
}

// StateFigures are of one state, or how they changed. Toe is of the rims as they stood.
type StateFigures struct {
	RimTotalToeMm  Quantity `json:"rim_total_toe_mm"`
	LeftCamberDeg  Quantity `json:"left_camber_deg"`
	RightCamberDeg Quantity `json:"right_camber_deg"`
	TrackMm        Quantity `json:"track_mm"`
	HubHeightMm    Quantity `json:"hub_height_mm"`
}

// StateResult is one state. TotalToeMm is that of its axles: what the rims show, its
// uncertainty with the assumed run-out and steering off centre. A change of the rims is a
// change of the axles as long as the wheels were not turned on them.
type StateResult struct {
	Name       string   `json:"name"`
	TotalToeMm Quantity `json:"total_toe_mm"`
	StateFigures
	Rear *RearResult `json:"rear,omitempty"` // nil where it is not plainly seen
}

// StateChange is a later state less the first.
type StateChange struct {
	From string `json:"from"`
	To   string `json:"to"`
	StateFigures
	PerMmOfTravel *PerTravel `json:"per_mm_of_travel,omitempty"` // nil where the hubs' height did not change clearly
}

// PerTravel is change for each mm by which the hubs rose.
type PerTravel struct {
	RimTotalToeMm  Quantity `json:"rim_total_toe_mm"`
	LeftCamberDeg  Quantity `json:"left_camber_deg"`
	RightCamberDeg Quantity `json:"right_camber_deg"`
	TrackMm        Quantity `json:"track_mm"`
}

// clearTravel is how many standard uncertainties the hubs must have moved by: a ratio
// to a length less sure is no longer normal.
const clearTravel = 5.0

// Compare adjusts two or more states together.
func Compare(states []State, settings Settings) (*Comparison, error) {
	if len(states) < 2 {
		return nil, errors.New("a comparison needs two states or more")
	}
	m, f, err := fitStates(states, settings)
	if err != nil {
		return nil, err
	}
	c := &Comparison{Schema: "rimpair/comparison/1", ChiSquarePerDof: f.chiSquarePerDof(), Notes: m.comparisonNotes()}
	for i, state := range states {
		stood := func(of func(*Scene) float64, besides ...float64) Quantity {
			return f.quantity(func(s *Scene) float64 { return of(s.inState(i)) }, besides...)
		}
		result := StateResult{Name: state.Name, StateFigures: m.figures(func(of func(*Scene) float64) Quantity { return stood(of) })}
		if rear := m.findRear(f, i); rear != nil {
			result.Rear = m.rearResult(f, rear, result.RimTotalToeMm)
		} else {
			c.Notes = append(c.Notes, Message{"rear_not_seen", Params{"state": state.Name}})
		}
		result.TotalToeMm = stood(m.totalToeMm, m.runoutLine().ContributionMm, m.steeringLine(f.scene.inState(i), result.Rear).ContributionMm)
		c.States = append(c.States, result)
		if i > 0 {
			c.Changes = append(c.Changes, m.changed(f, states, i))
		}
	}
	return c, nil
}

// inState is the scene with the wheels as they stood in a state.
func (s *Scene) inState(state int) *Scene {
	one := *s
	for side := range one.Wheels {
		one.Wheels[side] = *s.wheelIn(state, Side(side))
	}
	return &one
}

// figures evaluates each of a state's.
func (m *set) figures(evaluate func(of func(*Scene) float64) Quantity) StateFigures {
	camber := func(side Side) func(*Scene) float64 {
		return func(s *Scene) float64 { return m.camberRad(s, side) * degPerRad }
	}
	return StateFigures{
		RimTotalToeMm: evaluate(m.totalToeMm),
		LeftCamberDeg: evaluate(camber(Left)), RightCamberDeg: evaluate(camber(Right)),
		TrackMm: evaluate(m.trackMm), HubHeightMm: evaluate(m.hubHeightMm),
	}
}

// changed is how a state differs from the first.
func (m *set) changed(f *fitted, states []State, i int) StateChange {
	change := func(of func(*Scene) float64) func(*Scene) float64 {
		return func(s *Scene) float64 { return of(s.inState(i)) - of(s) }
	}
	c := StateChange{From: states[0].Name, To: states[i].Name}
	c.StateFigures = m.figures(func(of func(*Scene) float64) Quantity { return f.quantity(change(of)) })
	if travel := c.HubHeightMm; math.Abs(travel.Value) > clearTravel*travel.StandardUncertainty {
		risen := change(m.hubHeightMm)
		per := m.figures(func(of func(*Scene) float64) Quantity {
			return f.quantity(func(s *Scene) float64 { return change(of)(s) / risen(s) })
		})
		c.PerMmOfTravel = &PerTravel{per.RimTotalToeMm, per.LeftCamberDeg, per.RightCamberDeg, per.TrackMm}
	}
	return c
}

func (m *set) comparisonNotes() []Message {
	return append([]Message{{Code: "runout_between_states"}}, m.rimNotes()...)
}
