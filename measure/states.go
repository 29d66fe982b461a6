package measure

import (
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/vision"
)

// This file adjusts photos of several states of one vehicle together: positions of the
// wheels, before and after, pushed in and pulled out. Cameras, sheets and the wheels'
// shapes are common unknowns of all photos; each state after the first has, for each
// wheel, how it stands against the first (Change). What all states share, such as an
// error of the lens, then moves all of them alike, and the covariance of the unknowns
// takes it out of every difference (JCGM 100, 5.2.2).
//
// Each state of two photos or more is first measured by itself, which asks whether its
// photos show one state. For the joint adjustment its wheels are found again, cameras and
// sheets where the corners of all photos put them.

// State is the photos of the vehicle as it stood once, under the person's own name.
type State struct {
	Name    string
	Inputs  []Input
	TurnRad float64 // how far the wheels are turned forward, against any common position
}

// fitStates adjusts all states together.
func fitStates(states []State, settings Settings) (*set, *fitted, error) {
	var inputs []Input
	for _, state := range states {
		if len(state.Inputs) == 0 {
			return nil, nil, &vision.Refusal{Code: "no_photos", Reason: fmt.Sprintf("There is no photo of %q.", state.Name), Remedy: "Give at least one photo of each, better one from the front and one from the rear."}
		}
		inputs = append(inputs, state.Inputs...)
	}
	m, err := prepare(inputs, settings)
	if err == nil {
		m.approach, err = verifyEach(states, settings)
	}
	if err != nil {
		return nil, nil, err
	}
	joint := m.scene.clone()
	joint.Changes = make([][2]Change, len(states))
	first := 0
	for i, state := range states {
		end := first + len(state.Inputs)
		one := m.only(first, end)
		found, err := one.seek()
		if err != nil {
			return nil, nil, inState(state.Name, err)
		}
		if i == 0 {
			joint.Wheels, m.hearing, m.knowledge.rims = found.Wheels, one.hearing, one.knowledge.rims
		}
		for side := range found.Wheels {
			m.hearing.lower[side] = m.hearing.lower[side] || one.hearing.lower[side]
			m.hearing.support[side] = min(m.hearing.support[side], one.hearing.support[side])
			joint.Changes[i][side] = changeBetween(&joint.Wheels[side], &found.Wheels[side])
			joint.Changes[i][side].TurnRad = state.TurnRad - states[0].TurnRad
		}
		for photo := first; photo < end; photo++ {
			joint.Photos[photo].State = i
		}
		first = end
	}
	m.knowledge.moved = true
	f, err := m.fit(joint)
	if err == nil {
		err = m.verify(f)
	}
	if err == nil {
		err = m.verifySize(f)
	}
	if err != nil {
		return nil, nil, err
	}
	return m, f.sharpened(), nil
}

// verifyEach settles each state by itself: what is refused then is no state. It says how
// edges were read where one asked for more than the usual.
func verifyEach(states []State, settings Settings) (a approach, err error) {
	for _, state := range states {
		if len(state.Inputs) < 2 {
			continue
		}
		one, _, err := settle(state.Inputs, settings)
		if err != nil {
			return a, inState(state.Name, err)
		}
		a.coarse = a.coarse || one.approach.coarse
		a.grainy = a.grainy || one.approach.grainy
		a.guarded = a.guarded || one.approach.guarded
		a.rimsAlone = a.rimsAlone || one.approach.rimsAlone
	}
	return a, nil
}

// only is the set of some of the photos, cameras and sheets where all of them put them.
func (m *set) only(first, end int) *set {
	one := *m
	one.inputs = m.inputs[first:end]
	one.scene = m.scene.clone()
	one.scene.Photos = slices.Clone(m.scene.Photos[first:end])
	one.corners = nil
	for _, c := range m.corners {
		if c.photo >= first && c.photo < end {
			c.photo -= first
			one.corners = append(one.corners, c)
		}
	}
	return &one
}

// inState says of which state a refusal speaks.
func inState(name string, err error) error {
	var refusal *vision.Refusal
	if !errors.As(err, &refusal) {
		return err
	}
	named := *refusal
	named.Reason = fmt.Sprintf("In state %q: %s", name, refusal.Reason)
	return &named
}

// changeBetween is how the second wheel stands against the first.
func changeBetween(from, to *Wheel) Change {
	return Change{
		Move:       r3.Sub(to.Centre, from.Centre),
		HeadingRad: to.HeadingRad - from.HeadingRad, TiltRad: to.TiltRad - from.TiltRad,
	}
}

// alone is the scene of a state by itself, for photos of that state.
func (s *Scene) alone(state int) *Scene {
	one := s.inState(state).clone()
	one.Changes = nil
	for photo := range one.Photos {
		one.Photos[photo].State = 0
	}
	return one
}

// photosPerState is how many photos show a wheel as it stood, on the average.
func (s *Scene) photosPerState() float64 {
	return float64(len(s.Photos)) / float64(max(1, len(s.Changes)))
}
