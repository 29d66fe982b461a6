package job

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"rimpair/measure"
)

func measured(stage Stage, toe, u float64) Entry {
	return Entry{At: noon, Measurement: &Measurement{Stage: stage, TotalToeMm: quantity(toe, u), RimTotalToeMm: quantity(toe, u/5)}}
}

func turned(turns float64) Entry {
	return Entry{At: noon, Adjustment: &Adjustment{Turned: []Turned{{"tie_rod", turns}}}}
}

func checked(id string, r Result) Entry { return Entry{At: noon, Check: &Check{id, r}} }

func allChecked() []Entry {
	var list []Entry
	for _, c := range Checks() {
		list = append(list, checked(c.ID, OK))
	}
	return list
}

// The work in the order in which it is done. Target: 0 to 2 mm.
func TestWhatComesNext(t *testing.T) {
	j := &Job{Entries: allChecked()[1:]}
	expect := func(what string, task Task, stage Stage, verdict Verdict) {
		t.Helper()
		assert.Equal(t, Next{Task: task, Stage: stage, Verdict: verdict}, j.Next(), what)
	}
	add := func(e Entry) { j.Entries = append(j.Entries, e) }
	expect("a check is open", DoChecks, AsFound, Within)
	add(checked("wheel_axles", Failed))
	expect("a check failed", ClearFailures, AsFound, Within)
	add(checked("wheel_axles", OK))
	expect("all is well", Measure, AsFound, Within)
	add(measured(AsFound, 6, 0.2))
	expect("far outside", Adjust, AsFound, Outside)
	add(turned(-1))
	expect("turned", Measure, Adjusted, Outside)
	add(measured(Adjusted, 2.1, 0.3))
	expect("not quite", Adjust, Adjusted, PerhapsNot)
	add(turned(-0.25))
	add(measured(Adjusted, 1.1, 0.3))
	expect("set", TightenFirst, FirstLockNut, Within)
	add(measured(FirstLockNut, 1.8, 0.3))
	expect("moved a little", TightenSecond, SecondLockNut, PerhapsWithin)
	add(measured(SecondLockNut, 3.2, 0.3))
	expect("moved out", Adjust, SecondLockNut, Outside)
	add(turned(-0.25))
	add(measured(Adjusted, 1, 0.3))
	add(measured(FirstLockNut, 1, 0.3))
	add(measured(SecondLockNut, 1, 0.3))
	expect("both tight", RideAndMeasure, Final, Within)
	add(measured(Final, 1.2, 0.3))
	expect("done", Wait, FollowUp, Within)
	add(measured(FollowUp, 1.3, 0.3))
	expect("still good", Wait, FollowUp, Within)
	add(checked("spokes", Failed))
	expect("a check failed later", ClearFailures, FollowUp, Within)
	add(checked("spokes", OK))
	add(measured(FollowUp, -1, 0.3))
	expect("no longer good", Adjust, FollowUp, Outside)

	good := &Job{Entries: append(allChecked(), measured(AsFound, 1, 0.2))}
	assert.Equal(t, Next{Task: RideAndMeasure, Stage: Final, Verdict: Within}, good.Next(), "nothing had to be turned")
	spoilt := &Job{Entries: append(allChecked(), checked("spokes", Failed), measured(AsFound, 6, 0.2), checked("spokes", OK))}
	assert.Equal(t, Next{Task: Measure, Stage: AsFound, Verdict: Outside, Again: true}, spoilt.Next(), "measured while a check was not in order")
	spoilt.Entries = append(spoilt.Entries, measured(AsFound, 5, 0.2))
	assert.Equal(t, Next{Task: Adjust, Stage: AsFound, Verdict: Outside}, spoilt.Next())
	other := measure.Target{AimMm: 6, LowMm: 5, HighMm: 7}
	good.Vehicle.Steering.Target = &other
	assert.Equal(t, Next{Task: Adjust, Stage: AsFound, Verdict: Outside}, good.Next(), "the maker wants something else")
}

func TestFailedChecksStayUntilCleared(t *testing.T) {
	j := &Job{Entries: []Entry{checked("spokes", Failed), checked("rod_ends", Failed), measured(AsFound, 1, 0.2), checked("rod_ends", OK)}}
	failed := j.FailedChecks()
	require.Len(t, failed, 1)
	assert.Equal(t, CheckItem{ID: "spokes", Meaningless: true, Unsafe: true}, failed[0])
	j.Entries = append(j.Entries, checked("spokes", NotThere))
	assert.Empty(t, j.FailedChecks())
	assert.Len(t, j.OpenChecks(), len(Checks())-2)
}

// Every check says why it is one.
func TestChecks(t *testing.T) {
	assert.Len(t, Checks(), 12)
	for _, c := range Checks() {
		assert.True(t, c.Meaningless || c.Unsafe, c.ID)
	}
}

// u² = 0.3² + 0.4² = 0.5² (JCGM 100, equation 10, worked by hand).
func TestLockNutMovedTheToe(t *testing.T) {
	j := &Job{Entries: []Entry{measured(AsFound, 9, 1), turned(1), measured(Adjusted, 1, 0.3), measured(FirstLockNut, 2.2, 0.4)}}
	changes := j.LockNutChanges()
	require.Len(t, changes, 1)
	c := changes[0]
	assert.Equal(t, []int{2, 3}, []int{c.From, c.To})
	assert.InDelta(t, 1.2, c.ToeMm.Value, 1e-12)
	assert.InDelta(t, 0.5, c.ToeMm.StandardUncertainty, 1e-12)
	assert.InDelta(t, 1.2-1.96*0.5, c.ToeMm.Low95, 1e-12)
	assert.InDelta(t, 1.2+1.96*0.5, c.ToeMm.High95, 1e-12)
	assert.True(t, c.Settled())
	j.Entries[3].Measurement.TotalToeMm = quantity(1.9, 0.4)
	assert.False(t, j.LockNutChanges()[0].Settled())
	j.Entries = append([]Entry{checked("spokes", Failed)}, j.Entries...)
	assert.Empty(t, j.LockNutChanges(), "both mean nothing")
}

// Rims that stood alike leave their run-out out of the change.
func TestLockNutWithTheRimsAsBefore(t *testing.T) {
	top, bottom := measured(Adjusted, 1, 1), measured(Adjusted, 1.4, 1)
	top.Measurement.Valves, bottom.Measurement.Valves = "top", "bottom"
	after := measured(FirstLockNut, 1.6, 1)
	after.Measurement.Valves = "top"
	j := &Job{Entries: []Entry{top, bottom, {At: noon, Note: "."}, after}}
	c := j.LockNutChanges()[0]
	assert.True(t, c.SameRims)
	assert.Equal(t, 0, c.From)
	assert.InDelta(t, 0.2*math.Sqrt2, c.ToeMm.StandardUncertainty, 1e-12)
	assert.True(t, c.Settled())

	j.Entries[3].Measurement.Valves = "left"
	c = j.LockNutChanges()[0]
	assert.False(t, c.SameRims)
	assert.Equal(t, 1, c.From, "the last one")
}

func TestLockNutAfterATurnIsNotCompared(t *testing.T) {
	j := &Job{Entries: []Entry{measured(AsFound, 9, 1), turned(1), measured(FirstLockNut, 2.2, 0.4)}}
	assert.Empty(t, j.LockNutChanges())
}

// The squares of the expanded uncertainties, added, are never narrower than k of
// Welch and Satterthwaite's degrees of freedom gives (JCGM 100, equation G.2b;
// quantiles of Student's t by gonum).
func TestDifferenceIsNotTooNarrow(t *testing.T) {
	for _, nu := range [][2]float64{{4, 4}, {4, 50}, {9, 5}, {3, 1000}} {
		for _, u := range [][2]float64{{1, 1}, {0.2, 1}, {1, 0.1}} {
			var q [2]measure.Quantity
			sum, welch := 0.0, 0.0
			for i := range q {
				half := studentK(nu[i]) * u[i]
				q[i] = measure.Quantity{StandardUncertainty: u[i], Low95: -half, High95: half}
				sum += u[i] * u[i]
				welch += math.Pow(u[i], 4) / nu[i]
			}
			want := studentK(sum*sum/welch) * math.Sqrt(sum)
			got := difference(q[0], q[1])
			assert.GreaterOrEqual(t, got.High95, want, "%v %v", nu, u)
			assert.Less(t, got.High95, 1.35*want, "nor much wider: %v %v", nu, u)
		}
	}
}

func studentK(nu float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.975)
}

func TestRecordOfTurns(t *testing.T) {
	two := Entry{At: noon, Adjustment: &Adjustment{Turned: []Turned{{"left_rod", 0.5}, {"right_rod", 0.25}, {"bar_rod", 3}}}}
	j := &Job{Entries: []Entry{turned(7), measured(AsFound, 9, 1), measured(AsFound, 8, 1), turned(-1), turned(-0.5), measured(Adjusted, 5, 1), two}}
	_, ok := j.Described()
	assert.False(t, ok, "turned since")
	j.Entries = append(j.Entries, measured(Adjusted, 6, 0.5), measured(FirstLockNut, 6, 0.5))
	s, ok := j.Described()
	assert.True(t, ok)
	assert.Equal(t, []measure.RecordEntry{
		{ToeMm: measure.Estimate{Value: 8, StandardUncertainty: 1}, ThenLongerByTurns: -1.5},
		{ToeMm: measure.Estimate{Value: 5, StandardUncertainty: 1}, ThenLongerByTurns: 0.375},
	}, s.Record)
}

// What a toe that means nothing is part of, or a repair, teaches nothing.
func TestWhatTeachesNothing(t *testing.T) {
	record := func(entries ...Entry) []measure.RecordEntry {
		s, _ := (&Job{Entries: entries}).Described()
		return s.Record
	}
	good := []measure.RecordEntry{{ToeMm: measure.Estimate{Value: 4, StandardUncertainty: 1}, ThenLongerByTurns: -1}}
	failed, cleared := checked("spokes", Failed), checked("spokes", OK)
	before := []Entry{measured(AsFound, 9, 1), turned(-1), measured(Adjusted, 5, 1)}
	after := []Entry{measured(Adjusted, 4, 1), turned(-1), measured(Adjusted, 3, 1)}
	assert.Equal(t, good, record(slices.Concat(before, []Entry{failed, cleared}, after)...), "put right in between")
	assert.Equal(t, good, record(slices.Concat([]Entry{failed}, before, []Entry{cleared}, after)...), "measured before it was put right")
	assert.Empty(t, record(slices.Concat(before, []Entry{failed}, after)...), "not put right")
	assert.Len(t, record(slices.Concat(before, []Entry{checked("rear_wheel", Failed)}, after)...), 2, "of no matter for the toe")
}

// Two states and one turn: the slope by hand.
func TestLearned(t *testing.T) {
	j := &Job{Entries: []Entry{measured(AsFound, 9, 0.3), turned(-2), measured(Adjusted, 1, 0.4)}}
	_, ok := j.Learned(result(1, 0.4, 0.1))
	assert.False(t, ok, "without a thread there is no rod")
	j.Vehicle.Steering.Thread = "M6"
	per, ok := j.Learned(result(1, 0.4, 0.1))
	require.True(t, ok)
	assert.InDelta(t, 4, per.Value, 1e-9)
	assert.GreaterOrEqual(t, per.StandardUncertainty, 0.5/2, "of the difference, by two turns; setting the rod adds to it")
	assert.Less(t, per.StandardUncertainty, 0.4)
}
