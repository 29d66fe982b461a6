package report

import (
	"fmt"
	"io"

	"rimpair/measure"
)

// This file writes what several states of a vehicle say: run-out, play, changes.

// runout writes how far the rims run out, where several positions were seen.
func (p *page) runout(list []measure.Runout) {
	if len(list) == 0 {
		return
	}
	p.heading("Run-out of the rims sideways, peak to peak, from the positions of the wheels")
	for _, r := range list {
		p.row(r.Side+" rim", r.PeakToPeakMm, "mm")
		p.wrapped("    ", "With rim brakes (limit 1 mm): "+judged(r.RimBrake)+". With other brakes (2 mm): "+judged(r.OtherBrake)+".")
	}
	p.wrapped("  ", "Limits of ISO 4210-2, from memory: check them. Only what repeats once around is seen.")
}

func judged(verdict string) string {
	if verdict == "open" {
		return "not settled, the interval holds the limit"
	}
	return verdict + " the limit"
}

// PlayJSON writes play as play.schema.json describes it.
func PlayJSON(w io.Writer, p measure.Play) error {
	p.EnglishNotes = texts(English().notes(p.Notes, p.EnglishNotes))
	return encode(w, p)
}

// PlayText writes the play of a wheel.
func PlayText(w io.Writer, r measure.Play) error {
	p := newPage()
	if r.Found {
		p.heading(fmt.Sprintf("Play of the %s wheel: %s", r.Side, playAxis(r.Axis)))
	} else {
		p.heading(fmt.Sprintf("No play of the %s wheel can be told from zero", r.Side))
	}
	p.row("movement at the rim", r.AtRimMm, "mm")
	p.row("as an angle", r.AngleDeg, "°")
	p.row("about the upright axis", r.UprightDeg, "°")
	p.row("about the lengthwise axis", r.LengthwiseDeg, "°")
	p.row("wheel's middle, outward", r.SidewaysMm, "mm")
	p.wrapped("  ", "Value, ± half of the 95 % interval, the interval. At the rim: of its edge against the hub. "+
		"Angles are positive where the front went in and where the top went out.")
	p.list("Notes", append(texts(p.l.notes(r.Notes, r.EnglishNotes)), "Play in the steering or in a wheel can be dangerous, and less than these photos show can be too much: the maker's limits and a qualified mechanic decide."))
	_, err := io.WriteString(w, p.String())
	return err
}

func playAxis(axis string) string {
	switch axis {
	case "upright":
		return "about the upright axis (kingpin or tie rod)"
	case "lengthwise":
		return "about the lengthwise axis (wheel bearing)"
	}
	return "about both axes, upright and lengthwise"
}

// ComparisonJSON writes a comparison as comparison.schema.json describes it.
func ComparisonJSON(w io.Writer, c measure.Comparison) error {
	c.EnglishNotes = texts(English().notes(c.Notes, c.EnglishNotes))
	return encode(w, c)
}

// ComparisonText writes how states differ.
func ComparisonText(w io.Writer, c measure.Comparison) error {
	p := newPage()
	for _, change := range c.Changes {
		p.heading(fmt.Sprintf("From %q to %q: change, ± half of the 95 %% interval, the interval", printable(change.From), printable(change.To)))
		p.figures(change.StateFigures)
		if per := change.PerMmOfTravel; per != nil {
			p.line("  For each mm by which the hubs rose:")
			p.row("total toe of the rims", per.RimTotalToeMm, "mm")
			p.row("left camber", per.LeftCamberDeg, "°")
			p.row("right camber", per.RightCamberDeg, "°")
			p.row("track", per.TrackMm, "mm")
		} else {
			p.wrapped("  ", "The hubs' height did not change clearly: nothing can be said for each mm of travel.")
		}
	}
	for _, state := range c.States {
		p.heading(fmt.Sprintf("%q by itself", printable(state.Name)))
		p.row("total toe, run-out assumed", state.TotalToeMm, "mm")
		p.figures(state.StateFigures)
		p.rear(fmt.Sprintf("Rear wheel, %q", printable(state.Name)), state.Rear)
	}
	p.wrapped("  ", "Toe is positive inward, camber when the top leans outward.")
	p.list("Notes", texts(p.l.notes(c.Notes, c.EnglishNotes)))
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) figures(f measure.StateFigures) {
	p.row("total toe of the rims", f.RimTotalToeMm, "mm")
	p.row("left camber", f.LeftCamberDeg, "°")
	p.row("right camber", f.RightCamberDeg, "°")
	p.row("track at hub height", f.TrackMm, "mm")
	p.row("hub height", f.HubHeightMm, "mm")
}
