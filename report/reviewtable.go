package report

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"rimpair/report/review"
)

// ReviewTable writes a line for each group and state, then what cannot be read.
func ReviewTable(w io.Writer, groups []review.Measured, loose []review.Photo, l *Language) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, l.say("review.head"))
	photos, repeat, measured := len(loose), len(loose), 0
	for i := range groups {
		g := &groups[i]
		counts := verdicts(g.Photos)
		photos += len(g.Photos)
		repeat += counts[review.Repeat]
		head := fmt.Sprintf("%s\t%d\t%d, %d, %d", printable(l.groupName(&g.Group)), len(g.Photos), counts[review.Good], counts[review.Usable], counts[review.Repeat])
		if g.Refused != nil {
			fmt.Fprintf(t, "%s\t%s\n", head, l.say("review.none", "code", g.Refused.Code))
			continue
		}
		measured++
		for _, s := range g.States {
			toe := l.toeWithHalf(s.Result.TotalToeMm)
			if len(s.Photos) < len(g.Photos) {
				toe += " (" + printable(strings.Join(namesIn(g, s.Photos), ", ")) + ")"
			}
			fmt.Fprintf(t, "%s\t%s\n", head, toe)
			head = "\t\t"
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(loose) > 0 {
		fmt.Fprintf(w, "\n%s\n", l.say("review.loose"))
	}
	for _, p := range loose {
		for _, f := range p.Judgement.Findings {
			fmt.Fprintf(w, "  %s: %s\n", printable(p.Name), l.wrong(f.Code, f.Text, f.Remedy))
		}
	}
	_, err := fmt.Fprintf(w, "\n%s\n", l.say("review.sum", "groups", fmt.Sprint(len(groups)), "measured", fmt.Sprint(measured), "photos", fmt.Sprint(photos), "repeat", fmt.Sprint(repeat)))
	return err
}

func verdicts(photos []review.Photo) map[string]int {
	counts := map[string]int{}
	for _, p := range photos {
		counts[p.Judgement.Verdict]++
	}
	return counts
}
