package review

import (
	"cmp"
	"slices"

	"rimpair/measure"
	"rimpair/vision"
)

// This file measures groups. All photos of a group that can be measured are measured
// together. Where they are refused, wheels, steering or vehicle may not have been in one
// state; then sides are there more than once, and in the photos' order a side that comes
// again begins another round: each round is measured by itself. A round whose photos
// contradict each other shows that the order is none, and that other rounds may be mixed
// unnoticed: then there is no number. Photos of several positions of the wheels, as their
// folders say, are measured as such; where that is refused, the positions are the rounds.
// Before that, photos of which only the order says that they belong to the group are left
// out; and where a refusal names a photo, the others are tried without it. What no number
// is of is always said.

// State is photos that were measured together.
type State struct {
	Photos []string // names
	Result *measure.Result
}

// Measured is a group with what measuring made of it: states, or a refusal.
type Measured struct {
	Group
	States  []State
	LeftOut []vision.Refusal // of photos that could be measured but that no number is of
	Refused *vision.Refusal
}

// Notes on measuring.
const (
	Rounds = "rounds" // the photos are not of one state, and were measured in rounds
	Many   = "many"   // they are too many to be measured together, and were measured in rounds

	Positions = "positions" // positions of the wheels, as folders say, were measured together
	Apart     = "apart"     // positions do not go together, and were measured one by one
)

// What is measured together: time grows with the square of the number of photos (16 took
// three minutes), memory with their pixels.
const (
	mostTogether       = 8
	mostPixelsTogether = 160_000_000
)

// measurer measures photos of one state, but for the positions of their wheels.
type measurer func([]Photo) (*measure.Result, *vision.Refusal)

// settle measures a group.
func settle(g Group, together measurer) Measured {
	m := Measured{Group: g}
	useful := slices.DeleteFunc(slices.Clone(g.Photos), func(p Photo) bool { return !p.useful() })
	if len(useful) == 0 {
		m.Refused = &vision.Refusal{Code: "no_photos", Reason: "There is no photo that can be measured.", Remedy: "Take them again as is said for each."}
		return m
	}
	var whole *vision.Refusal
	if fit(useful) {
		if whole = m.try(useful, together); whole == nil {
			if len(byPosition(useful)) > 1 {
				m.note(Positions)
			}
			return m
		}
	}
	if slices.Contains(g.Notes, ByOrder) && m.tryTold(useful, together) {
		return m
	}
	parts, apart := rounds(useful), Rounds
	if positions := byPosition(useful); len(positions) > 1 {
		parts, apart = nil, Apart
		for _, photos := range positions {
			if fit(photos) {
				parts = append(parts, photos)
			} else {
				parts = append(parts, rounds(photos)...)
			}
		}
	}
	if len(parts) == 1 {
		if !m.tryWithout(useful, whole, together) {
			m.Refused = whole
		}
		return m
	}
	for _, part := range parts {
		refusal := m.try(part, together)
		switch {
		case refusal == nil || !contradiction(refusal) && m.tryWithout(part, refusal, together):
		case contradiction(refusal):
			return Measured{Group: g, Refused: cmp.Or(whole, refusal)}
		default:
			m.leaveOut(part, refusal)
		}
	}
	if len(m.States) == 0 {
		return Measured{Group: g, Refused: cmp.Or(whole, &m.LeftOut[0])}
	}
	if whole == nil {
		m.note(Many)
	} else {
		m.note(apart)
	}
	return m
}

// try measures photos as one state.
func (m *Measured) try(photos []Photo, together measurer) *vision.Refusal {
	r, refusal := together(photos)
	if refusal == nil {
		m.States = append(m.States, State{names(photos), r})
	}
	return refusal
}

// tryWithout measures photos without the one that their refusal names, and says whether
// that served. Where two contradict each other, neither is more likely to be right.
func (m *Measured) tryWithout(photos []Photo, refusal *vision.Refusal, together measurer) bool {
	var rest, out []Photo
	for _, p := range photos {
		if p.Name == refusal.Photo {
			out = append(out, p)
		} else {
			rest = append(rest, p)
		}
	}
	if len(out) == 0 || len(rest) == 0 || len(rest) == 1 && contradiction(refusal) || m.try(rest, together) != nil {
		return false
	}
	m.leaveOut(out, refusal)
	return true
}

// tryTold measures the photos whose sheets tell where they belong, and says whether that
// served: others may be strangers.
func (m *Measured) tryTold(photos []Photo, together measurer) bool {
	var told, others []Photo
	for _, p := range photos {
		if len(p.stand.Sheets) > 1 {
			told = append(told, p)
		} else {
			others = append(others, p)
		}
	}
	if len(others) == 0 || !fit(told) || m.try(told, together) != nil {
		return false
	}
	m.leaveOut(others, &vision.Refusal{
		Code: "sheets_not_linked", Reason: "It does not show two sheets, whose places would tell where it belongs.",
		Remedy: "Lay both sheets so that each photo shows both whole.",
	})
	return true
}

func fit(photos []Photo) bool {
	return len(photos) > 0 && len(photos) <= mostTogether && pixels(photos) <= mostPixelsTogether
}

func (m *Measured) leaveOut(photos []Photo, refusal *vision.Refusal) {
	for _, p := range photos {
		r := *refusal
		r.Photo = p.Name
		m.LeftOut = append(m.LeftOut, r)
	}
}

// contradiction says that photos were refused because they show different things.
func contradiction(r *vision.Refusal) bool {
	switch r.Code {
	case "photo_disagrees", "sheets_moved", "not_settled", "size_mismatch":
		return true
	}
	return false
}

// rounds parts photos where a side comes again or they become too many.
func rounds(photos []Photo) (parts [][]Photo) {
	seen := map[int]bool{}
	first := 0
	for i := range photos {
		side := photos[i].side()
		if i > first && (seen[side] || i-first == mostTogether || pixels(photos[first:i+1]) > mostPixelsTogether) {
			parts = append(parts, photos[first:i])
			first = i
			clear(seen)
		}
		seen[side] = true
	}
	return append(parts, photos[first:])
}

func pixels(photos []Photo) (sum int64) {
	for i := range photos {
		sum += photos[i].pixels()
	}
	return sum
}

func names(photos []Photo) []string {
	list := make([]string, len(photos))
	for i, p := range photos {
		list[i] = p.Name
	}
	return list
}
