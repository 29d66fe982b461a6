package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"rimpair/measure"
)

const (
	textWidth  = 80
	mostBudget = 3 // lines of the uncertainty budget that a mechanic is shown
	mostAdvice = 2
)

// Text writes a result for a mechanic, at most 80 columns wide.
func Text(w io.Writer, r measure.Result) error {
	p := newPage()
	p.toe(r)
	p.wheels(r.Wheels)
	p.lengths(r)
	p.rear("Rear wheel, in the same way", r.Rear)
	p.runout(r.Runout)
	p.photos(r)
	p.budget(r)
	p.advice(r)
	p.list("Caution", p.l.cautions(r))
	p.list("Notes", texts(p.l.notes(r.Notes, r.EnglishNotes)))
	_, err := io.WriteString(w, p.String())
	return err
}

// page collects lines.
type page struct {
	strings.Builder
	l *Language
}

func newPage() page { return page{l: English()} }

func (p *page) line(format string, a ...any) {
	p.WriteString(strings.TrimRight(fmt.Sprintf(format, a...), " ") + "\n")
}

func (p *page) heading(text string) {
	if p.Len() > 0 {
		p.line("")
	}
	p.line("%s", text)
}

// wrapped writes a paragraph whose first line starts with lead and whose others
// are indented as far.
func (p *page) wrapped(lead, text string) {
	indent := utf8.RuneCountInString(lead)
	for _, l := range wrap(printable(text), textWidth-indent) {
		p.line("%s%s", lead, l)
		lead = strings.Repeat(" ", indent)
	}
}

func (p *page) list(heading string, items []string) {
	if len(items) == 0 {
		return
	}
	p.heading(heading)
	for _, item := range items {
		p.wrapped("  - ", item)
	}
}

func (p *page) toe(r measure.Result) {
	p.heading("Total toe at the rim, at hub height: " + p.l.toeValue(r.TotalToeMm))
	p.wrapped("  ", p.l.toeSpread(r.TotalToeMm))
	p.wrapped("  ", toeSentence(r.TotalToeMm))
	because := "No run-out had to be assumed."
	if u := runoutPart(r); u > 0 {
		because = "The interval includes an assumed run-out of the rims (standard uncertainty " +
			fixed(u, decimals(u)) + " mm), as the wheels were seen in one position."
	}
	if len(r.Runout) > 0 {
		p.wrapped("  ", "The wheels were seen in several positions: the rims' run-out has gone out of it.")
		return
	}
	p.wrapped("  ", because)
	p.wrapped("  ", "The rims alone, as they stood in these photos: "+p.l.toeValue(r.RimTotalToeMm)+
		", "+p.l.toeSpread(r.RimTotalToeMm))
}

// row writes one quantity: name, value, half-width and interval in columns.
func (p *page) row(name string, q measure.Quantity, unit string) {
	f := round(q)
	if !f.Known {
		p.line("  %-26s %s", name, p.l.say("unknown"))
		return
	}
	p.line("  %-26s %8s ± %-5s %-2s  (%s to %s)", name, f.Value, f.Half, unit, f.Low, f.High)
}

func (p *page) wheels(wheels []measure.WheelResult) {
	p.heading("Wheels: value, ± half of the 95 % interval, the interval")
	for _, w := range wheels {
		p.row(w.Side+" toe", w.ToeDeg, "°")
		p.row(w.Side+" camber", w.CamberDeg, "°")
		p.row(w.Side+" rim diameter", w.RimDiameterMm, "mm")
	}
	p.wrapped("  ", "Toe is positive inward, camber when the top leans outward.")
}

func (p *page) lengths(r measure.Result) {
	p.heading("Between the wheels, in the same way")
	p.row("track at hub height", r.TrackMm, "mm")
	p.row("front gap between the rims", r.GapFrontMm, "mm")
	p.row("rear gap between the rims", r.GapRearMm, "mm")
	p.row("hub height", r.HubHeightMm, "mm")
	p.wrapped("  ", "Where on the lips a tape's ends lie makes both gaps uncertain alike: what they differ by, the toe, is known better.")
}

func (p *page) rear(heading string, r *measure.RearResult) {
	if r == nil {
		return
	}
	p.heading(heading + "; positive is to the right")
	p.row("rolls, against front pair", r.ThrustDeg, "°")
	p.row("over the wheelbase", r.ThrustMm, "mm")
	p.row("lean", r.LeanDeg, "°")
	p.row("runs beside the middle", r.OffsetMm, "mm")
	p.row("steering off centre", r.SteeringOffDeg, "°")
	p.row("wheelbase", r.WheelbaseMm, "mm")
	p.wrapped("  ", "Total toe with the steering straight ahead, as far as the linkage steers to one point: "+
		p.l.toeValue(r.StraightTotalToeMm)+", "+p.l.toeSpread(r.StraightTotalToeMm))
	p.wrapped("  ", fmt.Sprintf("Seen in %s: %s. The intervals include an assumed run-out of the rims.",
		printable(r.Photo), found("tyre outline", r.TyrePoints, r.TyreRmsPx)))
}

func (p *page) photos(r measure.Result) {
	p.heading("Photos: what was found, and its reprojection error (root mean square)")
	for _, photo := range r.Photos {
		p.line("  %s", shorten(printable(photo.File), textWidth-2))
		p.line("    %d x %d px, focal length %s", photo.Width, photo.Height, p.l.withUnit(photo.FocalPx, " px"))
		p.line("    %-12s %4d corners, %s px", sheetNames(photo.Sheets), photo.Corners, fixed(photo.CornerRmsPx, 2))
		for _, w := range photo.Wheels {
			p.line("    %-12s %s; %s", w.Side+" wheel",
				found("tyre outline", w.TyrePoints, w.TyreRmsPx), found("rim", w.RimPoints, w.RimRmsPx))
		}
	}
	p.wrapped("  ", fmt.Sprintf("Chi-square per degree of freedom of the whole adjustment: %s. These "+
		"numbers describe the fit and carry no interval.", fixed(r.ChiSquarePerDof, 2)))
}

func sheetNames(numbers []int) string {
	switch len(numbers) {
	case 0:
		return "no sheet"
	case 1:
		return fmt.Sprintf("sheet %d", numbers[0])
	}
	return "sheets " + strings.Trim(strings.ReplaceAll(fmt.Sprint(numbers), " ", ", "), "[]")
}

func found(what string, points int, rmsPx float64) string {
	if points == 0 {
		return what + " not used"
	}
	return fmt.Sprintf("%s %d points, %s px", what, points, fixed(rmsPx, 2))
}

func (p *page) budget(r measure.Result) {
	if len(r.Budget) == 0 {
		return
	}
	shown := r.Budget[:min(mostBudget, len(r.Budget))]
	p.heading(fmt.Sprintf("Where the uncertainty of total toe comes from (the largest %d of %d sources)",
		len(shown), len(r.Budget)))
	for _, b := range shown {
		p.line("  %-50s %5s mm %4.0f %%", shorten(printable(p.l.source(b).Text), 50),
			fixed(b.ContributionMm, 2), 100*b.Share)
	}
	p.wrapped("  ", "In mm: standard uncertainties. In %: shares of the variance.")
}

func (p *page) advice(r measure.Result) {
	if len(r.Advice) == 0 {
		return
	}
	p.heading("What would narrow the interval most")
	for i, a := range r.Advice[:min(mostAdvice, len(r.Advice))] {
		p.wrapped(fmt.Sprintf("  %d. ", i+1), p.l.worded("advice", a.Message, a.EnglishText).Text)
		if now := round(r.TotalToeMm); now.Known && a.PredictedHalfWidthMm > 0 {
			p.line("     forecast: ± %s mm instead of ± %s mm", halfWidth(a.PredictedHalfWidthMm), now.Half)
		}
	}
}

// Limits beyond which a reader is warned.
const (
	// setToMm is within what toe is usually set (common practice, no source): a
	// wider interval cannot guide a setting.
	setToMm = 2
	// poorFit is the chi-square per degree of freedom at which residuals are half
	// as large again as the stated noise.
	poorFit = 1.5 * 1.5
)

// cautions says what a reader must not overlook.
func (l *Language) cautions(r measure.Result) []string {
	var c []string
	if half := (r.TotalToeMm.High95 - r.TotalToeMm.Low95) / 2; half > setToMm {
		c = append(c, l.say("beware.wide", "mm", fmt.Sprint(setToMm)))
	}
	for _, w := range r.Wheels {
		if !w.RimSeen {
			c = append(c, l.say("beware.rim."+w.Side))
		}
	}
	if r.ChiSquarePerDof > poorFit {
		c = append(c, l.say("beware.fit", "factor", l.figure(fixed(math.Sqrt(r.ChiSquarePerDof), 1))))
	}
	return c
}
