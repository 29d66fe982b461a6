package job

import (
	"rimpair/measure"
)

// Described is the vehicle's steering with the record of what was turned since it
// was first measured, as advice on the tie rods wants it. ok is false when nothing
// was measured yet, or something was turned since the last measurement.
func (j *Job) Described() (s measure.Steering, ok bool) {
	s = j.Vehicle.Steering
	s.Record = j.turns()
	return s, j.LastMeasurement() != nil && !j.adjustedSince()
}

// turns pairs each state with what was turned after it. Turns before the first
// measurement teach nothing, nor does what was before a measurement that means nothing or
// before something that had to be put right: the states no longer follow from each other
// by the turns. Of several measurements between two turns the last one counts.
func (j *Job) turns() []measure.RecordEntry {
	var record []measure.RecordEntry
	var state *Measurement
	turned := 0.0
	for i, e := range j.Entries {
		_, spoils := e.spoils()
		switch {
		case spoils || j.Spoilt(i):
			record, state, turned = nil, nil, 0
		case e.Measurement != nil:
			if turned != 0 {
				toe := state.TotalToeMm
				record = append(record, measure.RecordEntry{
					ToeMm:             measure.Estimate{Value: toe.Value, StandardUncertainty: toe.StandardUncertainty},
					ThenLongerByTurns: turned,
				})
				turned = 0
			}
			state = e.Measurement
		case e.Adjustment != nil && state != nil:
			turned += e.Adjustment.longerByTurns()
		}
	}
	return record
}

// longerByTurns is the turn of the rod that makes toe, or of two rods on the
// average.
func (a *Adjustment) longerByTurns() float64 {
	sum := 0.0
	for _, t := range a.Turned {
		switch t.Rod {
		case "bar_rod": // sets where the handlebar stands, not the toe
		case "left_rod", "right_rod":
			sum += t.LongerByTurns / 2
		default:
			sum += t.LongerByTurns
		}
	}
	return sum
}

// Learned is how much total toe one turn made on this vehicle, by the record and by
// what was learned before; latest is the result of the last measurement. The linkage
// stays out: what is kept for the next time is what was seen. ok is false when the
// record does not say.
func (j *Job) Learned(latest measure.Result) (perTurnMm measure.Quantity, ok bool) {
	s, ok := j.Described()
	if !ok || len(s.Record) == 0 {
		return measure.Quantity{}, false
	}
	seen := measure.Steering{Kind: s.Kind, RodThread: s.RodThread, MmPerTurn: s.MmPerTurn, Record: s.Record}
	advice, err := measure.AdviseRods(latest, seen)
	if err != nil || advice.MmPerTurn == nil {
		return measure.Quantity{}, false
	}
	return *advice.MmPerTurn, true
}
