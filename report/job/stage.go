package job

import "rimpair/measure"

// Stage is a state of the vehicle in which it is measured.
type Stage string

// The stages of the work.
const (
	AsFound       Stage = "as_found"
	Adjusted      Stage = "adjusted"        // after an adjustment, lock nuts loose
	FirstLockNut  Stage = "first_lock_nut"  // after it was tightened
	SecondLockNut Stage = "second_lock_nut" // after it was tightened
	Final         Stage = "final"
	FollowUp      Stage = "follow_up"
)

// Stages lists them in the order of the work.
func Stages() []Stage {
	return []Stage{AsFound, Adjusted, FirstLockNut, SecondLockNut, Final, FollowUp}
}

// Verdict says where a measured toe lies against the target.
type Verdict int

// The verdicts. An interval that is partly inside settles nothing by itself.
const (
	Within        Verdict = iota // the whole interval is inside
	PerhapsWithin                // the value is inside, the interval is not
	PerhapsNot                   // the value is outside, the interval is partly inside
	Outside                      // the whole interval is outside
)

// Judge compares a toe with a target.
func Judge(toe measure.Quantity, target measure.Target) Verdict {
	switch {
	case target.LowMm <= toe.Low95 && toe.High95 <= target.HighMm:
		return Within
	case toe.High95 < target.LowMm || target.HighMm < toe.Low95:
		return Outside
	case target.LowMm <= toe.Value && toe.Value <= target.HighMm:
		return PerhapsWithin
	}
	return PerhapsNot
}

// inside says that the value, at least, is.
func (v Verdict) inside() bool { return v == Within || v == PerhapsWithin }

// Task is what comes next.
type Task int

// The tasks.
const (
	ClearFailures  Task = iota // put right what a check found, and check again
	DoChecks                   // before measuring
	Measure                    // the vehicle as it stands, as the stage says
	Adjust                     // turn, with both lock nuts loose
	TightenFirst               // tighten the first lock nut, and measure
	TightenSecond              // tighten the second lock nut, and measure
	RideAndMeasure             // ride a little, then measure the final state
	Wait                       // the work is done until the next follow-up
)

// Next is what comes next, and the stage that photos taken now belong to.
type Next struct {
	Task  Task
	Stage Stage
	// Verdict is on the last measurement, where there is one.
	Verdict Verdict
	// Again says, of Measure, that the last measurement means nothing, as a check was not in order, and
	// has to be repeated.
	Again bool
}

// Next works out what comes next from the entries.
func (j *Job) Next() Next {
	n := j.nextMeasurement()
	switch {
	case len(j.FailedChecks()) > 0:
		n.Task, n.Again = ClearFailures, false
	case j.LastMeasurement() == nil && len(j.OpenChecks()) > 0:
		n.Task = DoChecks
	}
	return n
}

// nextMeasurement leaves the checks out.
func (j *Job) nextMeasurement() Next {
	last := j.LastMeasurement()
	if last == nil {
		return Next{Task: Measure, Stage: AsFound}
	}
	n := Next{Verdict: Judge(last.TotalToeMm, j.Target())}
	if j.adjustedSince() {
		n.Task, n.Stage = Measure, Adjusted
		return n
	}
	switch {
	case len(j.SpoilingLast()) > 0:
		n.Task, n.Stage, n.Again = Measure, last.Stage, true
	case !n.Verdict.inside():
		n.Task, n.Stage = Adjust, last.Stage // until a turn is recorded
	case last.Stage == Adjusted:
		n.Task, n.Stage = TightenFirst, FirstLockNut
	case last.Stage == FirstLockNut:
		n.Task, n.Stage = TightenSecond, SecondLockNut
	case last.Stage == Final || last.Stage == FollowUp:
		n.Task, n.Stage = Wait, FollowUp
	default: // as found it was good, or both lock nuts are tight
		n.Task, n.Stage = RideAndMeasure, Final
	}
	return n
}

// LastMeasurement is the latest one, nil when there is none.
func (j *Job) LastMeasurement() *Measurement {
	for i := len(j.Entries) - 1; i >= 0; i-- {
		if m := j.Entries[i].Measurement; m != nil {
			return m
		}
	}
	return nil
}

// FirstMeasurement is the oldest one, nil when there is none.
func (j *Job) FirstMeasurement() *Measurement {
	for i := range j.Entries {
		if m := j.Entries[i].Measurement; m != nil {
			return m
		}
	}
	return nil
}

// adjustedSince says that something was turned after the last measurement.
func (j *Job) adjustedSince() bool {
	for i := len(j.Entries) - 1; i >= 0; i-- {
		switch e := j.Entries[i]; {
		case e.Adjustment != nil:
			return true
		case e.Measurement != nil:
			return false
		}
	}
	return false
}
