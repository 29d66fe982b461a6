package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report/job"
)

// This file words the record of a job: what must not be overlooked, what comes next,
// and what was done.

// JobAlarms are said before anything else, one for every check that is not in
// order and matters.
func JobAlarms(j *job.Job, l *Language) []string {
	var lines []string
	for _, c := range j.FailedChecks() {
		key := "alarm.both"
		switch {
		case !c.Meaningless:
			key = "alarm.unsafe"
		case !c.Unsafe:
			key = "alarm.meaningless"
		}
		lines = append(lines, l.say(key, "check", l.say("check."+c.ID))+" "+l.say("alarm.remedy"))
	}
	return lines
}

// JobNext says what comes next, and where the toe lies where that decides it.
func JobNext(j *job.Job, l *Language) string {
	n := j.Next()
	key := map[job.Task]string{
		job.ClearFailures: "next.clear", job.DoChecks: "next.checks", job.Measure: "next.measure." + string(n.Stage), job.Adjust: "next.adjust",
		job.TightenFirst: "next.first", job.TightenSecond: "next.second", job.RideAndMeasure: "next.ride", job.Wait: "next.wait",
	}[n.Task]
	switch {
	case n.Task == job.ClearFailures || n.Task == job.DoChecks:
		return l.say(key)
	case n.Again:
		return l.say("next.again")
	case n.Task == job.Measure:
		return l.say(key)
	}
	return verdict(n.Verdict, l) + " " + l.say(key)
}

func verdict(v job.Verdict, l *Language) string {
	return l.say(map[job.Verdict]string{
		job.Within: "verdict.within", job.PerhapsWithin: "verdict.perhaps_within", job.PerhapsNot: "verdict.perhaps_not", job.Outside: "verdict.outside",
	}[v])
}

// JobLockNuts says how the toe moved at each lock nut.
func JobLockNuts(j *job.Job, l *Language) []string {
	var lines []string
	for _, c := range j.LockNutChanges() {
		f := round(c.ToeMm)
		key := "moved.not"
		if c.Settled() {
			key = "moved.settled"
		}
		stage := l.say("stage." + string(j.Entries[c.To].Measurement.Stage))
		lines = append(lines, capital(l.say(key, "stage", stage, "change", l.toward(c.ToeMm.Value, f.Decimals), "half", l.figure(f.Half))))
	}
	return lines
}

// spoilt says of a measurement, entry i counted from 0, why it means nothing.
func (l *Language) spoilt(j *job.Job, i int) []string {
	var lines []string
	for _, c := range j.Spoiling(i) {
		lines = append(lines, capital(l.say("stage."+string(j.Entries[i].Measurement.Stage)))+": "+l.say("stage.spoilt", "check", l.say("check."+c.ID))+".")
	}
	return lines
}

// JobStages is the toe as found and as last measured: "5.1 mm toe-in ± 0.6 mm → …".
func JobStages(j *job.Job, l *Language) string {
	first, last := j.FirstMeasurement(), j.LastMeasurement()
	switch {
	case first == nil:
		return ""
	case first == last:
		return l.toeWithHalf(first.TotalToeMm)
	}
	return l.toeWithHalf(first.TotalToeMm) + " → " + l.toeWithHalf(last.TotalToeMm)
}

// JobText writes a job for a terminal, at most 80 columns wide; advice may be nil.
func JobText(w io.Writer, s *job.Inspected, advice *measure.RodAdvice) error {
	p := newPage()
	l := p.l
	p.alarms(JobAlarms(s.Job, l))
	p.jobHead(s.Job)
	p.jobToe(s.Job)
	p.heading("Next")
	p.wrapped("  ", JobNext(s.Job, l))
	if n := s.Next(); n.Task == job.DoChecks || n.Task == job.ClearFailures {
		p.checksToDo(s.Job)
	}
	if advice != nil {
		p.wrapped("  ", l.summary(*advice))
		for _, line := range slices.Concat(l.instructions(*advice), l.rodCautions(*advice, s.SpoilingLast())) {
			p.wrapped("  - ", line)
		}
	}
	p.list("Lock nuts", JobLockNuts(s.Job, l))
	p.entries(s.Job)
	p.damage(s)
	_, err := io.WriteString(w, p.String())
	return err
}

// Alarms writes what must not be overlooked, ahead of anything else.
func Alarms(w io.Writer, lines []string) error {
	p := newPage()
	p.alarms(lines)
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) alarms(lines []string) {
	for _, line := range lines {
		p.wrapped("!! ", line)
	}
}

func (p *page) jobHead(j *job.Job) {
	var about []string
	for _, part := range [][2]string{{"", j.Reference}, {"for ", j.Customer}, {"", j.Vehicle.Name}} {
		if part[1] != "" {
			about = append(about, part[0]+part[1])
		}
	}
	about = append(about, "begun "+day(j.Created))
	p.heading("Job")
	p.wrapped("  ", strings.Join(about, ", "))
	if facts := p.vehicleFacts(j); len(facts) > 0 {
		p.wrapped("  ", strings.Join(facts, ", "))
	}
}

// vehicleFacts is what is known of the vehicle, in words.
func (p *page) vehicleFacts(j *job.Job) []string {
	v, s := &j.Vehicle, &j.Vehicle.Steering
	var facts []string
	add := func(format string, a ...any) { facts = append(facts, fmt.Sprintf(format, a...)) }
	if v.RimMm > 0 {
		add("rims %g", v.RimMm)
	}
	if v.TrackMm != nil {
		add("track %s mm", known(*v.TrackMm))
	}
	if v.WheelbaseMm != nil {
		add("wheelbase %s mm", known(*v.WheelbaseMm))
	}
	if s.Kind != "" {
		add("steering %s", strings.ReplaceAll(string(s.Kind), "_", " "))
	}
	if s.Thread != "" {
		add("thread %s", s.Thread)
	}
	if s.MmPerTurn != nil {
		add("a turn longer makes %s of toe", p.l.withUnit(estimate(*s.MmPerTurn), " mm"))
	}
	if v.CameraProfile != nil {
		add("camera profile %s", v.CameraProfile.Name)
	}
	if r := j.RulerMm; r != [2]float64{} {
		add("printed 100 mm are %g mm across and %g mm along the page", r[0], r[1])
	}
	return facts
}

// estimate is a figure that was learned, with its interval.
func estimate(e measure.Estimate) measure.Quantity {
	half := normal95 * e.StandardUncertainty
	return measure.Quantity{Value: e.Value, StandardUncertainty: e.StandardUncertainty, Low95: e.Value - half, High95: e.Value + half}
}

// normal95 is the coverage factor of a normal distribution.
const normal95 = 1.96

func known(k measure.Known) string {
	if k.PlusMinus == 0 {
		return fmt.Sprintf("%g", k.Value)
	}
	return fmt.Sprintf("%g ± %g", k.Value, k.PlusMinus)
}

func day(t time.Time) string    { return t.Local().Format("2006-01-02") }
func minute(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

func (p *page) jobToe(j *job.Job) {
	if j.FirstMeasurement() == nil {
		return
	}
	p.heading("Total toe")
	p.wrapped("  ", JobStages(j, p.l))
	for i, e := range j.Entries {
		if m := e.Measurement; m != nil && (m == j.FirstMeasurement() || m == j.LastMeasurement()) {
			for _, line := range p.l.spoilt(j, i) {
				p.wrapped("  ", line)
			}
		}
	}
	t := j.Target()
	p.wrapped("  ", fmt.Sprintf("Wanted: %s, allowed %s to %s.", p.l.target(t.AimMm), p.l.target(t.LowMm), p.l.target(t.HighMm)))
}

func (p *page) checksToDo(j *job.Job) {
	for _, c := range j.FailedChecks() {
		p.line("    %-20s %-13s %s", c.ID, p.l.say("result.failed"), p.l.say("check."+c.ID))
	}
	for _, c := range j.OpenChecks() {
		p.line("    %-20s %-13s %s", c.ID, p.l.say("result.open"), p.l.say("check."+c.ID))
	}
	p.wrapped("  ", "Record with: rimpair job add JOB --check NAME=ok, =failed or =not_there")
}

func (p *page) entries(j *job.Job) {
	if len(j.Entries) == 0 {
		return
	}
	p.heading("Record")
	for i := range j.Entries {
		p.wrapped(fmt.Sprintf("%4d  %s  ", i+1, minute(j.Entries[i].At)), JobEntry(&j.Entries[i], p.l))
	}
}

// JobEntry is one entry in words.
func JobEntry(e *job.Entry, l *Language) string {
	var parts []string
	switch {
	case e.Check != nil:
		parts = append(parts, l.say("check."+e.Check.ID)+": "+l.say("result."+string(e.Check.Result)))
	case e.Adjustment != nil:
		for _, t := range e.Adjustment.Turned {
			parts = append(parts, turnedWords(t, l))
		}
	case e.Measurement != nil:
		m := e.Measurement
		parts = append(parts, l.say("stage."+string(m.Stage))+": "+l.toeWithHalf(m.TotalToeMm))
		if where := valvesWords(m, l); where != "" {
			parts = append(parts, where)
		}
	}
	if e.Note != "" {
		parts = append(parts, e.Note)
	}
	if n := len(e.Photos); n > 0 {
		parts = append(parts, photoCount(n, l))
	}
	return strings.Join(parts, "; ")
}

// valvesWords says where the valves stood, "" where nobody said so.
func valvesWords(m *job.Measurement, l *Language) string {
	switch {
	case len(m.Positions) > 0:
		each := slices.Compact(slices.Clone(m.Positions))
		for i := range each {
			each[i] = l.Said(each[i])
		}
		return l.say("valves.several", "where", strings.Join(each, ", "))
	case m.Valves != "":
		return l.say("valves", "where", l.Said(m.Valves))
	}
	return ""
}

func photoCount(n int, l *Language) string {
	if n == 1 {
		return l.say("photos.one")
	}
	return l.say("photos.many", "n", fmt.Sprint(n))
}

func turnedWords(t job.Turned, l *Language) string {
	key := "turned.longer"
	if t.LongerByTurns < 0 {
		key = "turned.shorter"
	}
	turns := l.figure(fmt.Sprintf("%g", math.Abs(t.LongerByTurns)))
	return l.say(key, "rod", l.say("rod."+t.Rod), "turns", turns)
}

func (p *page) damage(s *job.Inspected) {
	var lines []string
	for _, d := range s.Damage {
		lines = append(lines, d.Error())
	}
	p.list("Damage: everything else is whole", lines)
	p.list("In the folder, but not in the record", s.Loose)
}

// JobsText lists jobs for a terminal: one line each, with what must not be
// overlooked in capitals.
func JobsText(w io.Writer, jobs []job.Listed) error {
	p := newPage()
	for _, listed := range jobs {
		p.listed(&listed)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) listed(listed *job.Listed) {
	name := shorten(printable(listed.Dir), 28)
	if listed.Err != nil {
		p.line("%-28s  CANNOT BE READ: %s", name, printable(listed.Err.Error()))
		return
	}
	var words []string
	if n := listed.Failed; n > 0 {
		words = append(words, strings.ToUpper(p.l.count("checks", fmt.Sprint(n), float64(n))))
	}
	if len(listed.Damage) > 0 {
		words = append(words, "DAMAGED")
	}
	words = append(words, day(listed.Latest))
	stage := "not measured"
	if listed.Stage != "" {
		stage = p.l.say("stage."+string(listed.Stage)) + ": " + p.l.toeWithHalf(listed.TotalToeMm)
	}
	words = append(words, stage)
	for _, free := range []string{listed.Reference, listed.Customer, listed.Vehicle} {
		if free != "" {
			words = append(words, printable(free))
		}
	}
	p.line("%-28s  %s", name, strings.Join(words, "; "))
}

// JobExported says what was packed, what must not be overlooked, and what was left
// out.
func JobExported(w io.Writer, dir, archive string, leftOut []job.Damage) error {
	j, _, err := job.Read(dir)
	if err != nil {
		return err
	}
	p := newPage()
	p.alarms(JobAlarms(j, p.l))
	p.line("%s", archive)
	var lines []string
	for _, d := range leftOut {
		lines = append(lines, d.Error())
	}
	p.list("Left out", lines)
	_, err = io.WriteString(w, p.String())
	return err
}
