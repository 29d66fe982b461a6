package main

import (
	"fmt"
	"math"
	"strings"
)

// rows prints one line for each trial.
func (b *bench) rows(trials []*trial) {
	const format = "%-20s %-36s %5s %9s %8s %6s  %-6s %-6s\n"
	b.printf(format, "set", "photos", "rim", "error mm", "u mm", "|z|", "in 95?", "total?")
	for _, t := range trials {
		rim := "-"
		if t.rimMm != 0 {
			rim = fmt.Sprint(t.rimMm)
		}
		switch {
		case t.outcome.fault != "":
			b.printf("%-20s %-36s %5s  FAILED: %s\n", t.set, t.names(), rim, t.outcome.fault)
		case t.outcome.Refused != nil:
			b.printf("%-20s %-36s %5s  REFUSED %s: %s\n", t.set, t.names(), rim, t.outcome.Refused.Code, t.outcome.Refused.Reason)
		default:
			b.printf(format, t.set, t.names(), rim, fmt.Sprintf("%+.3f", t.errorMm()), fmt.Sprintf("%.3f", t.outcome.RimTotalToeMm.StandardUncertainty),
				fmt.Sprintf("%.2f", t.z()), yes(t.inside()), yes(t.insideTotal()))
		}
	}
}

func yes(is bool) string {
	if is {
		return "yes"
	}
	return "NO"
}

// wideMm is the standard uncertainty from which on an interval says by itself that
// the photos do not settle the toe.
const wideMm = 0.5

// tally sums trials up.
type tally struct {
	n, refused, faults, wide int
	inside, insideTotal      int
	settled, all             moments // errors in mm: of those not wide, of all
	z                        moments
	photos, found            int
}

// moments accumulates what a root mean square and a worst case need.
type moments struct {
	n          int
	sum, worst float64
}

func (m *moments) add(v float64) {
	m.n++
	m.sum += v * v
	m.worst = max(m.worst, math.Abs(v))
}

func (m *moments) rms() float64 { return math.Sqrt(m.sum / float64(m.n)) }

func (y *tally) add(t *trial) {
	y.n++
	y.photos += len(t.photos)
	y.found += t.found()
	switch {
	case t.outcome.fault != "":
		y.faults++
		return
	case t.outcome.Refused != nil:
		y.refused++
		return
	}
	y.all.add(t.errorMm())
	y.z.add(t.z())
	if t.wide() {
		y.wide++
	} else {
		y.settled.add(t.errorMm())
	}
	if t.inside() {
		y.inside++
	}
	if t.insideTotal() {
		y.insideTotal++
	}
}

func (b *bench) summaryHead() {
	b.printf("%-26s %-17s %-9s %-15s %-15s %-11s %-17s %-17s %s\n", "", "refused", fmt.Sprintf("u > %g", wideMm),
		"RMS, worst mm", "the wide apart", "z RMS,worst", "rims in 95 %", "total in 95 %", "both wheels found")
}

// summary prints one line for some trials.
func (b *bench) summary(what string, trials []*trial) {
	var y tally
	for _, t := range trials {
		y.add(t)
	}
	if y.n == 0 {
		return
	}
	b.printf("%-26s %-17s %-9d %-15s %-15s %-11s %-17s %-17s %s\n", what, percent(y.refused, y.n), y.wide,
		y.all.words("%.3f %.3f"), y.settled.words("%.3f %.3f"), y.z.words("%.2f %.1f"),
		percent(y.inside, y.all.n), percent(y.insideTotal, y.all.n), percent(y.found, y.photos))
	if y.faults > 0 {
		b.printf("%d FAILED\n", y.faults)
	}
}

func (b *bench) limits(words string) { b.printf("limits: %s\n", words) }

func (m *moments) words(format string) string {
	if m.n == 0 {
		return "-"
	}
	return fmt.Sprintf(format, m.rms(), m.worst)
}

func percent(k, n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprintf("%d/%d %.1f %%", k, n, 100*float64(k)/float64(n))
}

// refusals prints how often each reason was given.
func (b *bench) refusals(trials []*trial) {
	count := map[string]int{}
	var codes []string
	for _, t := range trials {
		if r := t.outcome.Refused; r != nil {
			if count[r.Code] == 0 {
				codes = append(codes, r.Code)
			}
			count[r.Code]++
		}
	}
	for i, code := range codes {
		codes[i] = fmt.Sprintf("%s %d", code, count[code])
	}
	if len(codes) > 0 {
		b.printf("refused because: %s\n", strings.Join(codes, ", "))
	}
}
