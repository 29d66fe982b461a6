package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"rimpair/measure"
	"rimpair/report/job"
)

// This file words advice on tie rods for a mechanic.

// AdjustJSON writes advice as adjust.schema.json describes it.
func AdjustJSON(w io.Writer, a measure.RodAdvice) error {
	a.Turns, a.MmPerTurnFrom = list(a.Turns), list(a.MmPerTurnFrom)
	a.Assumed, a.MeasureFirst = list(a.Assumed), English().advice(a.MeasureFirst)
	if a.Expected != nil {
		expected := *a.Expected
		expected.Parts = list(expected.Parts)
		a.Expected = &expected
	}
	return encode(w, struct {
		measure.RodAdvice
		Summary      string   `json:"summary"`
		Instructions []string `json:"instructions"`
		Cautions     []string `json:"cautions"`
	}{a, AdjustSummary(a), list(AdjustInstructions(a)), AdjustCautions(a)})
}

// JobAdvice is what a job advises now, as AdjustJSON writes it; nil when there is
// nothing to advise.
func JobAdvice(s *job.Inspected) (json.RawMessage, error) {
	advice := s.Advice()
	if advice == nil {
		return nil, nil
	}
	var content bytes.Buffer
	err := AdjustJSON(&content, *advice)
	return content.Bytes(), err
}

// AdjustText writes advice at most 80 columns wide.
func AdjustText(w io.Writer, a measure.RodAdvice) error {
	p := newPage()
	p.heading(AdjustSummary(a))
	for _, line := range AdjustInstructions(a) {
		p.wrapped("  - ", line)
	}
	p.measuredToe(a)
	if a.Answer == measure.AnswerTurn {
		p.expectedToe(*a.Expected)
	}
	p.perTurn(a)
	p.list("Not told, and taken as", assumptions(a))
	p.list("Before you turn, and before you ride", AdjustCautions(a))
	_, err := io.WriteString(w, p.String())
	return err
}

// AdjustSummary is the answer in one sentence.
func AdjustSummary(a measure.RodAdvice) string {
	switch a.Answer {
	case measure.AnswerTurn:
		return "Turn " + rodsInWords(a) + ", then measure again."
	case measure.AnswerLeave:
		return "Within target: leave it."
	case measure.AnswerMeasure:
		return "Not known well enough to turn anything: measure first."
	case measure.AnswerLearn:
		return "What a turn does is not known yet: describe the steering, or try half a turn."
	}
	return "These rods cannot be set so: turn nothing yet."
}

func rodsInWords(a measure.RodAdvice) string {
	var names []string
	for _, t := range a.Turns {
		if t.Turns != 0 {
			names = append(names, rodNames[t.Rod])
		}
	}
	return strings.Join(names, " and ")
}

var rodNames = map[string]string{
	"tie_rod": "the tie rod", "left_rod": "the left rod", "right_rod": "the right rod",
	"cross_rod": "the cross rod", "bar_rod": "the handlebar's rod",
}

// AdjustInstructions say what to do, a whole sentence or two each.
func AdjustInstructions(a measure.RodAdvice) []string {
	var lines []string
	switch a.Answer {
	case measure.AnswerTurn:
		lines = turnLines(a.Turns)
		if a.Reason == measure.ReasonStep {
			lines = append(lines, "This brings the toe nearer, but it may not be within the target yet. Measure again and ask again, with this turn in the record.")
		}
		lines = append(lines, centreLines(a)...)
	case measure.AnswerLeave:
		lines = append(lines, fmt.Sprintf("Total toe is within the target with a chance of %s.", chance(a.ChanceNow)))
		if a.Reason == measure.ReasonFiner {
			lines = append(lines, "The smallest step that these rods can be turned would not bring it nearer to the aim.")
		}
	case measure.AnswerMeasure:
		lines = measureLines(a)
	case measure.AnswerLearn:
		lines = learnLines(a)
	default:
		lines = limitLines(a)
	}
	return lines
}

// turnLines are a rod's amount, its direction and how to see that it was right.
func turnLines(turns []measure.RodTurn) []string {
	var lines []string
	for _, t := range turns {
		name := capital(rodNames[t.Rod])
		if t.Turns == 0 {
			lines = append(lines, name+": leave it as it is.")
			continue
		}
		lines = append(lines, fmt.Sprintf("%s: make it %s by %s.", name, lengthWord(t), turnAmount(t)), turnDirection(t),
			fmt.Sprintf("Check: the middles of its two joints are then %s mm %s.", fixed(math.Abs(t.SetMm), 2), apartWord(t)))
	}
	return lines
}

func lengthWord(t measure.RodTurn) string {
	if t.Longer {
		return "LONGER"
	}
	return "SHORTER"
}

func apartWord(t measure.RodTurn) string {
	if t.Longer {
		return "farther apart"
	}
	return "closer together"
}

// turnAmount is a turn in turns, flats and degrees.
func turnAmount(t measure.RodTurn) string {
	turns := fixed(t.Turns, 2)
	if t.Turns == math.Trunc(t.Turns*2)/2 {
		turns = mixed(t.Turns)
	}
	unit := " turns"
	if t.Turns <= 1 {
		unit = " turn"
	}
	return fmt.Sprintf("%s%s, which is %s of the hexagon or %s degrees", turns, unit, plural(mixed(t.Flats), "flat", t.Flats), fixed(t.Degrees, 0))
}

// mixed writes a number of quarters as people do: 2¾.
func mixed(v float64) string {
	quarters := int(math.Round(4 * v))
	fraction := [...]string{"", "¼", "½", "¾"}[quarters%4]
	if quarters < 4 {
		return fraction
	}
	return fmt.Sprint(quarters/4) + fraction
}

func plural(figure, noun string, v float64) string {
	if v > 1 {
		noun += "s"
	}
	return figure + " " + noun
}

// turnDirection cannot be misread: it names which way the top moves, never a hand
// or a clock.
func turnDirection(t measure.RodTurn) string {
	out := map[bool]string{true: "out", false: "in"}[t.Longer]
	switch {
	case t.Ends == measure.BothRight:
		return fmt.Sprintf("Both ends have right-hand threads: take one end off its arm, screw it %s by that much, and put it back. "+
			"Take the end that leaves both screwed in about equally far.", out)
	case t.TopMoves != "":
		toward := map[string]string{"front": "FRONT of the vehicle", "rear": "REAR of the vehicle", "left": "rider's LEFT", "right": "rider's RIGHT"}[t.TopMoves]
		return fmt.Sprintf("Turn the rod so that its top moves toward the %s.", toward)
	}
	shows := map[bool]string{true: "more", false: "less"}[t.Longer]
	return fmt.Sprintf("Which way that is depends on which end has the left-hand thread, and that was not told. Turn a little and look: it is right if %s thread shows at both ends.", shows)
}

func centreLines(a measure.RodAdvice) []string {
	switch {
	case a.Kind == measure.BarAndCrossRod && len(a.Turns) == 1:
		return []string{"The handlebar's rod sets only where the handlebar stands: set it last, so that the handlebar is straight with the wheels straight ahead."}
	case a.Expected.OffDeg != nil:
		return []string{fmt.Sprintf("This also centres the steering. With the handlebar straight the wheels point %s now, and %s afterwards.", offWords(*a.OffDeg), offWords(*a.Expected.OffDeg))}
	case len(a.Turns) == 2 && a.Turns[0].Turns != a.Turns[1].Turns:
		return []string{"One rod is turned a step more than the other, as equal turns would miss the target; it is too little to be felt at the handlebar."}
	case len(a.Turns) == 2:
		return []string{"Equal turns of both rods keep the steering's centre where it is."}
	}
	return nil
}

// offWords names the side that the wheels point to.
func offWords(q measure.Quantity) string {
	f := round(q)
	side := "right"
	if q.Value < 0 {
		side = "left"
	}
	return fmt.Sprintf("%s ± %s° to the %s", strings.TrimPrefix(f.Value, "-"), f.Half, side)
}

func measureLines(a measure.RodAdvice) []string {
	if a.Reason == measure.ReasonRider {
		return []string{"The front is sprung and was measured without the rider's weight: toe changes as it sinks. Measure again with the rider, or as much weight, on the seat."}
	}
	lines := []string{fmt.Sprintf("A 95 %% interval of about ± %s mm or less is needed to judge this target; it is ± %s mm.", halfWidth(a.NeededHalfWidthMm), round(a.ToeMm).Half)}
	for _, first := range English().advice(a.MeasureFirst) {
		lines = append(lines, fmt.Sprintf("%s Forecast: ± %s mm.", first.EnglishText, halfWidth(first.PredictedHalfWidthMm)))
	}
	return lines
}

func learnLines(a measure.RodAdvice) []string {
	lines := []string{
		"Either measure the steering arm, from the kingpin's axis to the middle of the rod end's joint, and say whether the rods run behind or in front of the kingpins (--arm and --rods). Then the linkage says how far to turn.",
		"Or learn it: turn as follows, measure again, and give both measurements (--before and --turned). Then the record says how far to turn.",
	}
	lines = append(lines, turnLines(a.Turns)...)
	if a.Reason == measure.ReasonUnclear {
		lines[0] = "The record does not say yet what a turn does: turn more than last time, or measure better."
	}
	if a.Reason == measure.ReasonPlace {
		lines = append(lines, "Whether this makes more toe-in or more toe-out is not known before: it is a trial.")
	}
	return lines
}

func limitLines(a measure.RodAdvice) []string {
	if a.Reason == measure.ReasonCoarseSteps {
		return []string{"Total toe is outside the target, but the next step of these rods would take it farther from the aim. A rod with a right-hand and a left-hand thread can be set finer; ask the maker for one, or for what the maker allows."}
	}
	var lines []string
	for _, t := range a.Turns {
		if t.EngagedAfterMm != nil && t.Longer {
			lines = append(lines, fmt.Sprintf("%s would have to be longer by %s: only %s mm of thread would stay in each end, and at least %s mm, the thread's diameter, have to.",
				capital(rodNames[t.Rod]), turnAmount(t), fixed(*t.EngagedAfterMm, 1), fixed(t.LeastEngagedMm, 1)))
		}
	}
	return append(lines, "Ask the maker for a longer rod or longer rod ends.")
}

func (p *page) measuredToe(a measure.RodAdvice) {
	p.heading("Total toe as measured: " + p.l.toeValue(a.ToeMm))
	p.wrapped("  ", p.l.toeSpread(a.ToeMm)+".")
	p.wrapped("  ", fmt.Sprintf("Wanted: %s, allowed %s to %s. Chance that it is within that now: %s.",
		p.l.target(a.Target.AimMm), p.l.target(a.Target.LowMm), p.l.target(a.Target.HighMm), chance(a.ChanceNow)))
}

// chance never claims certainty.
func chance(c float64) string {
	switch {
	case c > 0.99:
		return "more than 99 %"
	case c < 0.01:
		return "less than 1 %"
	}
	return fixed(100*c, 0) + " %"
}

func (p *page) expectedToe(e measure.ExpectedToe) {
	p.heading("Total toe to expect afterwards: " + p.l.toeValue(e.ToeMm))
	p.wrapped("  ", fmt.Sprintf("%s. Chance that it is within the target: %s.", p.l.toeSpread(e.ToeMm), chance(e.Chance)))
	for _, part := range e.Parts[:min(mostBudget, len(e.Parts))] {
		p.line("  %-50s %5s mm %4.0f %%", figureWords(part.Source), fixed(part.ContributionMm, 2), 100*part.Share)
	}
	p.wrapped("  ", "Where its uncertainty comes from: standard uncertainties, and shares of the variance.")
}

func (p *page) perTurn(a measure.RodAdvice) {
	if a.MmPerTurn == nil {
		return
	}
	p.heading("What a turn does")
	of := "One turn longer"
	if a.Kind == measure.TwoRods {
		of = "One turn of both rods longer"
	}
	f := round(*a.MmPerTurn)
	p.wrapped("  ", fmt.Sprintf("%s changes total toe by %s mm (95 %% interval %s to %s mm, positive is toe-in), by %s.",
		of, f.Value, f.Low, f.High, sources(a.MmPerTurnFrom)))
	for _, t := range a.Turns {
		if f := round(t.ChangeMm); f.Known {
			p.wrapped("  ", fmt.Sprintf("For the aim exactly %s would be %s.", rodNames[t.Rod], changeWords(t.ChangeMm)))
		}
	}
}

// changeWords says a change of length with its interval.
func changeWords(q measure.Quantity) string {
	f := round(q)
	word := "longer"
	if q.Value < 0 {
		word = "shorter"
	}
	return fmt.Sprintf("%s ± %s mm %s", strings.TrimPrefix(f.Value, "-"), f.Half, word)
}

func sources(from []string) string {
	words := map[string]string{"linkage": "the linkage as described", "learned": "what was learned before", "record": "the record"}
	names := make([]string, len(from))
	for i, f := range from {
		names[i] = words[f]
	}
	return strings.Join(names, " and ")
}

// figureNames are what a description's keys mean.
var figureNames = map[string]string{
	"arm_mm": "steering arm's length", "arm_inward_deg": "steering arm's angle inward", "kingpin_distance_mm": "distance of the kingpins",
	"kingpin_inclination_deg": "kingpins' inclination", "caster_deg": "caster",
	"inner_ends.apart_mm": "inner rod ends, apart", "inner_ends.forward_mm": "inner rod ends, forward of the outer ones", "inner_ends.above_mm": "inner rod ends, above the outer ones",
	"bar_rod.arm_mm": "arm of the handlebar's rod", "bar_rod.arm_inward_deg": "angle inward of that arm", "bar_rod.to_middle_mm": "handlebar's rod, toward the middle",
	"bar_rod.forward_mm": "handlebar's rod, forward", "bar_rod.above_mm": "handlebar's end above the wheel's", "axis_forward_mm": "handlebar's axis forward of the rod ends",
}

// figureWords are a figure's name, or a source that needs none.
func figureWords(source string) string {
	if words, ok := figureNames[source]; ok {
		return words
	}
	return source
}

func assumptions(a measure.RodAdvice) []string {
	var lines []string
	for _, s := range a.Assumed {
		unit := " mm"
		if strings.HasSuffix(s.Figure, "_deg") {
			unit = "°"
		}
		lines = append(lines, fmt.Sprintf("%s: %s ± %s%s", figureWords(s.Figure), fixed(s.Value, 0), fixed(s.PlusMinus, 0), unit))
	}
	return lines
}

// AdjustCautions are shown with every piece of advice. The lengths of thread are
// common practice, without a source.
func AdjustCautions(a measure.RodAdvice) []string {
	least := "the thread's diameter"
	takes := ""
	for _, t := range a.Turns {
		if t.LeastEngagedMm > 0 {
			least = "the thread's diameter, " + fixed(t.LeastEngagedMm, 1) + " mm,"
		}
		if t.Longer && takes == "" {
			takes = fmt.Sprintf(" This turn takes %s mm of thread out of each end that moves.", fixed(t.RetreatsMm, 2))
		}
	}
	c := []string{
		"At least " + least + " has to stay screwed into each rod end, equally far at both ends, and never past a rod's mark." + takes,
		"Loosen both lock nuts first. Tighten them to the maker's torque, and measure again after the first and after the second: a lock nut can move the toe.",
		"Steering is safety-critical. The maker's figures and local rules come first; when in doubt let an experienced or licensed mechanic check it. Ride slowly first.",
	}
	if !a.Sprung {
		c = append(c, "If the front is sprung, the toe has to be measured and set with the rider's weight on.")
	}
	return c
}

// capital starts a sentence.
func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
