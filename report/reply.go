package report

import (
	"slices"
	"strconv"
	"strings"

	"rimpair/measure"
	"rimpair/report/job"
	"rimpair/report/review"
	"rimpair/vision"
)

// This file drafts the reply to who sent photos: what the numbers say and how sure they
// are, what is good, which photo to take again and how, and the usual caution. Whoever
// sends it reads it first.

// Reply drafts the reply for a group.
func Reply(g *review.Measured, l *Language) string {
	r := reply{l: l}
	r.paragraph(l.say("reply.thanks"))
	r.numbers(g)
	for _, note := range g.Notes {
		r.paragraph(l.say("reply." + note))
	}
	if out := leftOut(g); len(out) > 0 {
		r.list("reply.out", out)
	}
	r.photos(g)
	r.paragraph(l.say("reply.caution"), l.say("caution.1"))
	return r.String()
}

// reply collects paragraphs.
type reply struct {
	strings.Builder
	l *Language
}

// paragraph writes sentences, an empty line before them; none of none.
func (r *reply) paragraph(sentences ...string) {
	text := strings.Join(slices.DeleteFunc(sentences, func(s string) bool { return s == "" }), " ")
	if text == "" {
		return
	}
	if r.Len() > 0 {
		r.WriteString("\n")
	}
	r.WriteString(text + "\n")
}

// item is some photos and what is said of them.
type item struct {
	names []string
	code  string
	text  string // as measuring says it, where the language does not know the code
	does  string // the remedy, likewise
}

func (r *reply) list(heading string, items []item) {
	if len(items) == 0 {
		return
	}
	r.paragraph(r.l.say(heading))
	for _, i := range items {
		r.WriteString(r.l.say("reply.item", "names", strings.Join(i.names, ", "), "text", r.l.wrong(i.code, i.text, i.does)) + "\n")
	}
}

// wrong is what is wrong and what to do about it, by its code, else as measuring says it.
// A reply needs no figures of it: they are in the table.
func (l *Language) wrong(code, text, remedy string) string {
	if said, ok := l.find("refused." + code); ok {
		return said + " " + l.say("refused."+code+".remedy")
	}
	return l.Said(text) + " " + l.Said(remedy)
}

func (l *Language) refusal(r *vision.Refusal) string { return l.wrong(r.Code, r.Reason, r.Remedy) }

func (r *reply) numbers(g *review.Measured) {
	if g.Refused != nil {
		why := r.l.refusal(g.Refused)
		if g.Refused.Photo != "" {
			why = nameIn(g, g.Refused.Photo) + ": " + why
		}
		r.paragraph(r.l.say("reply.refused", "why", why))
		return
	}
	for i := range g.States {
		s := &g.States[i]
		q := s.Result.TotalToeMm
		head := r.l.say("reply.toe", "toe", r.l.toeWithHalf(q), "photos", photoCount(len(s.Photos), r.l))
		if len(g.States) > 1 {
			head = r.l.say("reply.toe.of", "toe", r.l.toeWithHalf(q), "names", strings.Join(namesIn(g, s.Photos), ", "))
		}
		r.paragraph(append([]string{head}, r.l.sureness(q)...)...)
	}
	last := g.States[len(g.States)-1].Result
	var why []string
	if runoutPart(*last) > 0 && len(last.Runout) == 0 {
		why = append(why, r.l.say("reply.runout"))
	}
	r.paragraph(append(why, r.l.say("reply.rim"))...)
	r.next(last)
}

// sureness says how far a toe can be relied on.
func (l *Language) sureness(q measure.Quantity) []string {
	f := round(q)
	if !f.Known {
		return nil
	}
	said := []string{l.say("reply.interval", "low", l.toe(q.Low95, f.Decimals), "high", l.toe(q.High95, f.Decimals))}
	switch {
	case q.Low95 > 0:
		said = append(said, l.say("reply.settled.in"))
	case q.High95 < 0:
		said = append(said, l.say("reply.settled.out"))
	default:
		said = append(said, l.say("reply.unsettled"))
	}
	if q.High95-q.Low95 > 2*setToMm {
		said = append(said, l.say("reply.wide"))
	}
	return said
}

// next is what would narrow the interval most, where it would narrow it.
func (r *reply) next(m *measure.Result) {
	now := round(m.TotalToeMm)
	if len(m.Advice) == 0 || !now.Known {
		return
	}
	a := m.Advice[0]
	r.paragraph(r.l.say("reply.next", "advice", r.l.worded("advice", a.Message, a.EnglishText).Text, "half", r.l.figure(halfWidth(a.PredictedHalfWidthMm)), "now", r.l.figure(now.Half)))
}

// leftOut are the photos that no number is of, those left out for one reason together.
func leftOut(g *review.Measured) (items []item) {
	for _, out := range g.LeftOut {
		items = add(items, item{[]string{nameIn(g, out.Photo)}, out.Code, out.Reason, out.Remedy})
	}
	return items
}

func add(items []item, i item) []item {
	if k := slices.IndexFunc(items, func(j item) bool { return j.code == i.code }); k >= 0 {
		items[k].names = append(items[k].names, i.names...)
		return items
	}
	return append(items, i)
}

// photos says of each photo whether it is good, or what would be better.
func (r *reply) photos(g *review.Measured) {
	var good []string
	var repeat, better []item
	var copies []string
	for _, p := range g.Photos {
		name := nameIn(g, p.Name)
		if p.Judgement.Angle != "" {
			name = r.l.say("reply.seen", "name", name, "angle", r.l.say("angle."+p.Judgement.Angle))
		}
		if p.CopyOf != "" {
			copies = append(copies, r.l.say("reply.copy", "name", nameIn(g, p.Name), "of", nameIn(g, p.CopyOf)))
			continue
		}
		for _, f := range p.Judgement.Findings {
			i := item{[]string{name}, f.Code, f.Text, f.Remedy}
			if p.Judgement.Verdict == review.Repeat {
				repeat = add(repeat, i)
			} else {
				better = add(better, i)
			}
		}
		if p.Judgement.Verdict == review.Good && !accused(g, p.Name) {
			good = append(good, name)
		}
	}
	if len(good) > 0 {
		r.paragraph(r.l.say("reply.good", "names", strings.Join(good, ", ")))
	}
	r.list("reply.repeat", repeat)
	r.list("reply.better", better)
	r.paragraph(copies...)
}

// accused says that measuring found something wrong with a photo.
func accused(g *review.Measured, name string) bool {
	return g.Refused != nil && g.Refused.Photo == name || slices.ContainsFunc(g.LeftOut, func(r vision.Refusal) bool { return r.Photo == name })
}

// nameIn is a photo's name in its group, with the folder of its position where that says
// more than the group's.
func nameIn(g *review.Measured, name string) string {
	return strings.TrimPrefix(name, g.Folder+"/")
}

func namesIn(g *review.Measured, names []string) []string {
	list := make([]string, len(names))
	for i, name := range names {
		list[i] = nameIn(g, name)
	}
	return list
}

// ReplyFile is a plain name for a group's reply, which no other group's has.
func ReplyFile(groups []review.Measured, i int, l *Language) string {
	return strconv.Itoa(i+1) + "-" + job.PlainName(strings.NewReplacer("/", "-", ", ", " ").Replace(l.groupName(&groups[i].Group))) + ".txt"
}

// groupName is what a group is called.
func (l *Language) groupName(g *review.Group) string {
	switch {
	case g.Number == 0:
		return g.Folder
	case g.Folder == "":
		return l.say("review.group", "n", strconv.Itoa(g.Number))
	}
	return g.Folder + ", " + l.say("review.group", "n", strconv.Itoa(g.Number))
}
