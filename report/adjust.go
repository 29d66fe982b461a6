package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"rimpair/measure"
	"rimpair/report/job"
)

// This file words advice on tie rods for a mechanic.

// AdjustJSON writes advice as adjust.schema.json describes it.
// The checks are those that make the measured toe mean nothing.
func AdjustJSON(w io.Writer, a measure.RodAdvice, spoiling ...job.CheckItem) error {
	return encode(w, English().rodAdvice(a, spoiling))
}

// rodAdvice returns advice with its words, and with empty lists in place of missing ones.
func (l *Language) rodAdvice(a measure.RodAdvice, spoiling []job.CheckItem) rodAdvice {
	a.Turns, a.MmPerTurnFrom = list(a.Turns), list(a.MmPerTurnFrom)
	a.Assumed, a.MeasureFirst = list(a.Assumed), l.advice(a.MeasureFirst)
	if a.Expected != nil {
		expected := *a.Expected
		expected.Parts = list(expected.Parts)
		a.Expected = &expected
	}
	worded := rodAdvice{RodAdvice: a, Summary: l.summary(a), Instructions: list(l.instructions(a))}
	for _, c := range spoiling {
		worded.SpoiltBy = append(worded.SpoiltBy, c.ID)
	}
	worded.Cautions = l.rodCautions(a, spoiling)
	return worded
}

// JobAdvice is what a job advises now, as AdjustJSON writes it but in any language; nil
// when there is nothing to advise.
func JobAdvice(s *job.Inspected, l *Language) (json.RawMessage, error) {
	advice := s.Advice()
	if advice == nil {
		return nil, nil
	}
	var content bytes.Buffer
	err := encode(&content, l.rodAdvice(*advice, s.SpoilingLast()))
	return content.Bytes(), err
}

// rodAdvice is advice as it is written, with its words.
type rodAdvice struct {
	measure.RodAdvice
	SpoiltBy     []string `json:"spoilt_by,omitempty"` // failed checks that make the measured toe mean nothing
	Summary      string   `json:"summary"`
	Instructions []string `json:"instructions"`
	Cautions     []string `json:"cautions"`
}

// AdjustText writes advice at most 80 columns wide.
func AdjustText(w io.Writer, a measure.RodAdvice, spoiling ...job.CheckItem) error {
	p := newPage()
	p.heading(p.l.summary(a))
	for _, line := range p.l.instructions(a) {
		p.wrapped("  - ", line)
	}
	p.measuredToe(a)
	if a.Answer == measure.AnswerTurn {
		p.expectedToe(*a.Expected)
	}
	p.perTurn(a)
	p.list("Not told, and taken as", p.l.assumptions(a))
	p.list("Before you turn, and before you ride", p.l.rodCautions(a, spoiling))
	_, err := io.WriteString(w, p.String())
	return err
}

// summary is the answer in one sentence.
func (l *Language) summary(a measure.RodAdvice) string {
	return capital(l.say("adjust."+a.Answer, "rods", l.rods(a)))
}

// rods names those to be turned.
func (l *Language) rods(a measure.RodAdvice) string {
	var names []string
	for _, t := range a.Turns {
		if t.Turns != 0 {
			names = append(names, l.say("the."+t.Rod))
		}
	}
	return strings.Join(names, l.say("and"))
}

// instructions say what to do, a whole sentence or two each.
func (l *Language) instructions(a measure.RodAdvice) []string {
	var lines []string
	switch a.Answer {
	case measure.AnswerTurn:
		lines = l.turnLines(a.Turns)
		if a.Reason == measure.ReasonStep {
			lines = append(lines, l.say("adjust.step"))
		}
		lines = append(lines, l.centreLines(a)...)
	case measure.AnswerLeave:
		lines = append(lines, l.say("adjust.chance", "chance", l.chance(a.ChanceNow)))
		if a.Reason == measure.ReasonFiner {
			lines = append(lines, l.say("adjust.finer"))
		}
	case measure.AnswerMeasure:
		lines = l.measureLines(a)
	case measure.AnswerLearn:
		lines = l.learnLines(a)
	default:
		lines = l.limitLines(a)
	}
	return lines
}

// turnLines are a rod's amount, its direction and how to see that it was right.
func (l *Language) turnLines(turns []measure.RodTurn) []string {
	var lines []string
	for _, t := range turns {
		name := capital(l.say("the." + t.Rod))
		if t.Turns == 0 {
			lines = append(lines, l.say("adjust.rod.stays", "rod", name))
			continue
		}
		lines = append(lines, l.say("adjust.rod."+way(t), "rod", name, "amount", l.turnAmount(t)), l.turnDirection(t),
			l.say("adjust.check."+way(t), "mm", l.figure(fixed(math.Abs(t.SetMm), 2))))
	}
	return lines
}

// way is a turn's direction in the catalogue's keys.
func way(t measure.RodTurn) string {
	if t.Longer {
		return "longer"
	}
	return "shorter"
}

// turnAmount is a turn in turns, flats and degrees.
func (l *Language) turnAmount(t measure.RodTurn) string {
	turns := l.figure(fixed(t.Turns, 2))
	if t.Turns == math.Trunc(t.Turns*2)/2 {
		turns = mixed(t.Turns)
	}
	return l.say("adjust.amount", "turns", l.count("turns", turns, t.Turns), "flats", l.count("flats", mixed(t.Flats), t.Flats), "degrees", fixed(t.Degrees, 0))
}

// count is a number of things.
func (l *Language) count(key, figure string, n float64) string {
	if n > 1 {
		return l.say(key+".many", "n", figure)
	}
	return l.say(key+".one", "n", figure)
}

// mixed writes a number of quarters as people do: 2¾.
func mixed(v float64) string {
	quarters := int(math.Round(4 * math.Abs(v))) // a stored one may hold anything
	fraction := [...]string{"", "¼", "½", "¾"}[quarters%4]
	if quarters < 4 {
		return fraction
	}
	return fmt.Sprint(quarters/4) + fraction
}

// turnDirection cannot be misread: it names which way the top moves, never a hand
// or a clock.
func (l *Language) turnDirection(t measure.RodTurn) string {
	switch {
	case t.Ends == measure.BothRight:
		return l.say("adjust.end." + way(t))
	case t.TopMoves != "":
		return l.say("adjust.top." + t.TopMoves)
	}
	return l.say("adjust.look." + way(t))
}

func (l *Language) centreLines(a measure.RodAdvice) []string {
	switch {
	case a.Kind == measure.BarAndCrossRod && len(a.Turns) == 1:
		return []string{l.say("adjust.bar")}
	case a.OffDeg != nil && a.Expected != nil && a.Expected.OffDeg != nil:
		return []string{l.say("adjust.centres", "now", l.off(*a.OffDeg), "then", l.off(*a.Expected.OffDeg))}
	case len(a.Turns) == 2 && a.Turns[0].Turns != a.Turns[1].Turns:
		return []string{l.say("adjust.unequal")}
	case len(a.Turns) == 2:
		return []string{l.say("adjust.equal")}
	}
	return nil
}

// off names the side that the wheels point to.
func (l *Language) off(q measure.Quantity) string {
	if q.Value < 0 {
		return l.say("off.left", "angle", l.withUnit(opposite(q), "°"))
	}
	return l.say("off.right", "angle", l.withUnit(q, "°"))
}

// opposite is minus q.
func opposite(q measure.Quantity) measure.Quantity {
	return measure.Quantity{Value: -q.Value, StandardUncertainty: q.StandardUncertainty, Low95: -q.High95, High95: -q.Low95}
}

func (l *Language) measureLines(a measure.RodAdvice) []string {
	if a.Reason == measure.ReasonRider {
		return []string{l.say("adjust.rider")}
	}
	lines := []string{l.say("adjust.needed", "needed", l.figure(halfWidth(a.NeededHalfWidthMm)), "half", l.figure(round(a.ToeMm).Half))}
	for _, first := range l.advice(a.MeasureFirst) {
		lines = append(lines, l.say("adjust.forecast", "text", first.EnglishText, "half", l.figure(halfWidth(first.PredictedHalfWidthMm))))
	}
	return lines
}

func (l *Language) learnLines(a measure.RodAdvice) []string {
	first := "adjust.describe"
	if a.Reason == measure.ReasonUnclear {
		first = "adjust.unclear"
	}
	lines := append([]string{l.say(first), l.say("adjust.trial")}, l.turnLines(a.Turns)...)
	if a.Reason == measure.ReasonPlace {
		lines = append(lines, l.say("adjust.either"))
	}
	return lines
}

func (l *Language) limitLines(a measure.RodAdvice) []string {
	if a.Reason == measure.ReasonCoarseSteps {
		return []string{l.say("adjust.coarse")}
	}
	var lines []string
	for _, t := range a.Turns {
		if t.EngagedAfterMm != nil && t.Longer {
			lines = append(lines, l.say("adjust.thread", "rod", capital(l.say("the."+t.Rod)), "amount", l.turnAmount(t),
				"after", l.figure(fixed(*t.EngagedAfterMm, 1)), "least", l.figure(fixed(t.LeastEngagedMm, 1))))
		}
	}
	return append(lines, l.say("adjust.maker"))
}

func (p *page) measuredToe(a measure.RodAdvice) {
	p.heading("Total toe as measured: " + p.l.toeValue(a.ToeMm))
	p.wrapped("  ", p.l.toeSpread(a.ToeMm)+".")
	p.wrapped("  ", fmt.Sprintf("Wanted: %s, allowed %s to %s. Chance that it is within that now: %s.",
		p.l.target(a.Target.AimMm), p.l.target(a.Target.LowMm), p.l.target(a.Target.HighMm), p.l.chance(a.ChanceNow)))
}

// chance never claims certainty.
func (l *Language) chance(c float64) string {
	switch {
	case c > 0.99:
		return l.say("chance.most")
	case c < 0.01:
		return l.say("chance.least")
	}
	return fixed(100*c, 0) + " %"
}

func (p *page) expectedToe(e measure.ExpectedToe) {
	p.heading("Total toe to expect afterwards: " + p.l.toeValue(e.ToeMm))
	p.wrapped("  ", fmt.Sprintf("%s. Chance that it is within the target: %s.", p.l.toeSpread(e.ToeMm), p.l.chance(e.Chance)))
	for _, part := range e.Parts[:min(mostBudget, len(e.Parts))] {
		p.line("  %-50s %5s mm %4.0f %%", p.l.rodSource(part.Source), fixed(part.ContributionMm, 2), 100*part.Share)
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
		of, f.Value, f.Low, f.High, p.l.evidence(a.MmPerTurnFrom)))
	for _, t := range a.Turns {
		if f := round(t.ChangeMm); f.Known {
			p.wrapped("  ", fmt.Sprintf("For the aim exactly %s would be %s.", p.l.say("the."+t.Rod), p.l.changeWords(t.ChangeMm)))
		}
	}
}

// changeWords says a change of length with its interval.
func (l *Language) changeWords(q measure.Quantity) string {
	if q.Value < 0 {
		return l.withUnit(opposite(q), " mm") + " shorter"
	}
	return l.withUnit(q, " mm") + " longer"
}

// evidence names what says what a turn does.
func (l *Language) evidence(from []string) string {
	names := make([]string, len(from))
	for i, f := range from {
		names[i] = l.say("evidence." + f)
	}
	return strings.Join(names, l.say("and"))
}

// rodSource is a figure's name by its key, or a source that needs none.
func (l *Language) rodSource(source string) string {
	return l.worded("figure", measure.Message{Code: source}, source).Text
}

func (l *Language) assumptions(a measure.RodAdvice) []string {
	var lines []string
	for _, s := range a.Assumed {
		unit := " mm"
		if strings.HasSuffix(s.Figure, "_deg") {
			unit = "°"
		}
		lines = append(lines, fmt.Sprintf("%s: %s ± %s%s", l.rodSource(s.Figure), fixed(s.Value, 0), fixed(s.PlusMinus, 0), unit))
	}
	return lines
}

// rodCautions are shown with every piece of advice. The lengths of thread are
// common practice, without a source.
func (l *Language) rodCautions(a measure.RodAdvice, spoiling []job.CheckItem) []string {
	var c []string
	for _, check := range spoiling {
		c = append(c, l.say("adjust.caution.spoilt", "check", l.say("check."+check.ID)))
	}
	thread := l.say("adjust.caution.thread")
	for _, t := range a.Turns {
		if t.LeastEngagedMm > 0 {
			thread = l.say("adjust.caution.diameter", "mm", l.figure(fixed(t.LeastEngagedMm, 1)))
		}
	}
	for _, t := range a.Turns {
		if t.Longer {
			thread += " " + l.say("adjust.caution.takes", "mm", l.figure(fixed(t.RetreatsMm, 2)))
			break
		}
	}
	c = append(c, thread, l.say("adjust.caution.locknuts"), l.say("adjust.caution.ride"))
	if !a.Sprung {
		c = append(c, l.say("adjust.caution.sprung"))
	}
	return c
}

// capital starts a sentence.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}
