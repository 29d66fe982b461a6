package job

import "slices"

// Result is what a check found.
type Result string

// The results of a check.
const (
	OK       Result = "ok"
	Failed   Result = "failed"
	NotThere Result = "not_there" // the vehicle has no such part
)

// Results are all of them.
func Results() []Result { return []Result{OK, Failed, NotThere} }

// CheckItem is one of the checks before measuring: common practice, no source.
type CheckItem struct {
	ID string
	// While it fails: a measured toe means nothing, riding is unsafe.
	Meaningless, Unsafe bool
}

// Checks lists them in the order in which one walks around a vehicle. What play or
// a soft part lets move changes toe from one moment to the next, and what holds the
// wheels, the steering or the frame together can fail on the road.
func Checks() []CheckItem {
	return []CheckItem{
		{ID: "wheel_axles", Meaningless: true, Unsafe: true},
		{ID: "spokes", Meaningless: true, Unsafe: true},
		{ID: "rim_runout", Meaningless: true},
		{ID: "kingpins", Meaningless: true, Unsafe: true},
		{ID: "wheel_bearings", Meaningless: true, Unsafe: true},
		{ID: "rod_ends", Meaningless: true, Unsafe: true},
		{ID: "suspension_bolts", Meaningless: true, Unsafe: true},
		{ID: "rear_wheel", Unsafe: true},
		{ID: "rear_suspension", Unsafe: true},
		{ID: "frame_cracks", Meaningless: true, Unsafe: true},
		{ID: "tyre_pressures", Meaningless: true},
		{ID: "handlebar_straight", Meaningless: true},
	}
}

// CheckByID finds a check.
func CheckByID(id string) (CheckItem, bool) {
	for _, c := range Checks() {
		if c.ID == id {
			return c, true
		}
	}
	return CheckItem{}, false
}

// LastCheck is the latest entry of a check, nil when there is none.
func (j *Job) LastCheck(id string) *Entry {
	for i := len(j.Entries) - 1; i >= 0; i-- {
		if c := j.Entries[i].Check; c != nil && c.ID == id {
			return &j.Entries[i]
		}
	}
	return nil
}

// OpenChecks are those that nobody has recorded.
func (j *Job) OpenChecks() []CheckItem {
	var open []CheckItem
	for _, c := range Checks() {
		if j.LastCheck(c.ID) == nil {
			open = append(open, c)
		}
	}
	return open
}

// Spoiling are the checks that were failed when entry i, counted from 0, was recorded
// and make a toe measured then mean nothing.
func (j *Job) Spoiling(i int) []CheckItem {
	then := Job{Entries: j.Entries[:i]}
	return slices.DeleteFunc(then.FailedChecks(), func(c CheckItem) bool { return !c.Meaningless })
}

// Spoilt says that entry i is a measurement that means nothing.
func (j *Job) Spoilt(i int) bool { return j.Entries[i].Measurement != nil && len(j.Spoiling(i)) > 0 }

// SpoilingLast are the checks that make the last measurement mean nothing: failed when it
// was recorded, or since, even if they were cleared: putting right changes the toe.
func (j *Job) SpoilingLast() []CheckItem {
	var spoiling []CheckItem
	for i := len(j.Entries) - 1; i >= 0; i-- {
		if j.Entries[i].Measurement != nil {
			return append(j.Spoiling(i), spoiling...)
		}
		if c, ok := j.Entries[i].spoils(); ok && !slices.Contains(spoiling, c) {
			spoiling = append(spoiling, c)
		}
	}
	return nil
}

// spoils is the failed check that the entry is, if a toe measured then means nothing.
func (e *Entry) spoils() (CheckItem, bool) {
	if e.Check == nil || e.Check.Result != Failed {
		return CheckItem{}, false
	}
	c, _ := CheckByID(e.Check.ID)
	return c, c.Meaningless
}

// FailedChecks are those whose latest result is a failure: a later good one clears
// an earlier failure.
func (j *Job) FailedChecks() []CheckItem {
	var failed []CheckItem
	for _, c := range Checks() {
		if e := j.LastCheck(c.ID); e != nil && e.Check.Result == Failed {
			failed = append(failed, c)
		}
	}
	return failed
}
