package report

import (
	"fmt"
	"io"
	"math"
	"strconv"

	"rimpair/measure"
)

// This file writes the whole uncertainty budget of total toe for who wants to check it.

// Explain writes every source with its type, standard uncertainty, sensitivity,
// contribution, share and degrees of freedom, then k and the expanded uncertainty
// (JCGM 100, clauses 4 to 7).
func Explain(w io.Writer, r measure.Result) error {
	p := newPage()
	p.heading("Uncertainty budget of total toe (JCGM 100, the GUM)")
	p.line("  %-34s %10s %9s %7s %6s %5s", "source, type", "standard u", "mm / unit", "u in mm", "share", "dof")
	for _, b := range r.Budget {
		// Results written before had neither unit nor sensitivity.
		u, sensitivity := "–", "–"
		if b.Unit != "" {
			u, sensitivity = significant(b.StandardUncertainty), significant(b.Sensitivity)
		}
		p.line("  %s %10s %9s %7s %4.0f %% %5s", p.sourceAndType(b), u+afterNumber(b.Unit), sensitivity,
			fixed(b.ContributionMm, 3), 100*b.Share, dof(b.DegreesOfFreedom))
	}
	if e := r.Expanded; e != nil {
		p.line("  %-34s %10s %9s %7s %6s %5s", "together", "", "", fixed(e.StandardUncertaintyMm, 3), "100 %", dof(e.DegreesOfFreedom))
		p.wrapped("  ", fmt.Sprintf("k = %s for 95 %% (Student's t), expanded uncertainty %s mm: %s, %s.",
			fixed(e.CoverageFactor, 2), fixed(e.ExpandedUncertaintyMm, 2), p.l.toeValue(r.TotalToeMm), p.l.toeSpread(r.TotalToeMm)))
	}
	p.wrapped("  ", "Type A is seen in the photos' own scatter, type B known otherwise. Contributions add up in "+
		"squares. A source of many values, such as all corners, has the root of the sum of their squared sensitivities. "+
		"Tilts count in mm at the edge of what they tilt, a lens's changes of focal length in px at the picture's edge.")
	_, err := io.WriteString(w, "\n"+p.String())
	return err
}

// sourceAndType is both in 34 columns.
func (p *page) sourceAndType(b measure.BudgetLine) string {
	return fmt.Sprintf("%-32s %s", shorten(printable(p.l.source(b).Text), 32), b.Type)
}

// afterNumber is how a unit follows its number.
func afterNumber(unit string) string {
	switch unit {
	case "", "1":
		return ""
	case "%":
		return " %"
	}
	return " " + unit
}

// significant writes a figure with two significant digits.
func significant(v float64) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fixed(v, 0)
	}
	if v < 1e-3 {
		return strconv.FormatFloat(v, 'e', 1, 64)
	}
	return fixed(v, max(0, 1-int(math.Floor(math.Log10(v)))))
}

// dof writes degrees of freedom; none are infinitely many.
func dof(v *float64) string {
	if v == nil {
		return "∞"
	}
	return fixed(math.Floor(*v), 0)
}
