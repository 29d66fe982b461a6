package job

import (
	"math"

	"rimpair/measure"
)

// This file compares states of one vehicle.

// Change is the toe of one state minus that of an earlier one.
type Change struct {
	From, To int // entries, counted from 0
	ToeMm    measure.Quantity
	// SameRims says that the rims stood alike, so that their run-out is in both
	// states and not in the change.
	SameRims bool
}

// Settled says that the toe changed by more than the interval of the change.
func (c Change) Settled() bool { return c.ToeMm.Low95 > 0 || c.ToeMm.High95 < 0 }

// LockNutChanges says for every measurement after a lock nut how the toe changed
// since the state before it, as far as neither means nothing.
func (j *Job) LockNutChanges() []Change {
	var changes []Change
	for i, e := range j.Entries {
		if m := e.Measurement; m != nil && (m.Stage == FirstLockNut || m.Stage == SecondLockNut) {
			if before, ok := j.before(i); ok && !j.Spoilt(before) && !j.Spoilt(i) {
				changes = append(changes, j.Change(before, i))
			}
		}
	}
	return changes
}

// before is the measurement of an earlier stage that entry i is compared with: the
// last one, but rather one of the same stage whose rims stood as in entry i.
func (j *Job) before(i int) (entry int, ok bool) {
	this := j.Entries[i].Measurement
	var stage Stage
	for k := i - 1; k >= 0; k-- {
		e := j.Entries[k]
		if e.Adjustment != nil {
			break // what was turned would be laid to the lock nut
		}
		m := e.Measurement
		if m == nil || m.Stage == this.Stage {
			continue
		}
		if !ok {
			entry, ok, stage = k, true, m.Stage
		}
		if m.Stage != stage {
			break
		}
		if alike(m, this) {
			return k, true
		}
	}
	return entry, ok
}

func alike(a, b *Measurement) bool { return a.Valves != "" && a.Valves == b.Valves }

// Change compares two measurements, entries counted from 0.
func (j *Job) Change(from, to int) Change {
	a, b := j.Entries[from].Measurement, j.Entries[to].Measurement
	c := Change{From: from, To: to, SameRims: alike(a, b)}
	if c.SameRims {
		c.ToeMm = difference(a.RimTotalToeMm, b.RimTotalToeMm)
	} else {
		c.ToeMm = difference(a.TotalToeMm, b.TotalToeMm)
	}
	return c
}

// difference is b minus a of two states that were measured from different photos,
// taken as independent (JCGM 100, 5.1.2). They are not quite: the same camera, sheets
// and rims push both the same way, which cancels in truth, so that the interval is
// rather too wide. A covariance of the two, once known, belongs here: it is
// subtracted twice from the variance.
//
// The expanded uncertainties are added in squares as well. With effective degrees
// of freedom ν, k(ν)² grows about as 1/ν, and Welch and Satterthwaite's 1/ν of the
// sum is Σ w²/ν with the shares w of the variance, which is no more than Σ w/ν: the
// sum of squares is never too narrow.
func difference(a, b measure.Quantity) measure.Quantity {
	d := b.Value - a.Value
	return measure.Quantity{
		Value:               d,
		StandardUncertainty: math.Hypot(a.StandardUncertainty, b.StandardUncertainty),
		Low95:               d - math.Hypot(b.Value-b.Low95, a.High95-a.Value),
		High95:              d + math.Hypot(b.High95-b.Value, a.Value-a.Low95),
	}
}
