package main

import (
	"rimpair/measure"
	"rimpair/samples"
)

// claim is one number that a measurement states, beside what is true of it.
type claim struct {
	name  string
	said  measure.Quantity
	truth float64
}

// claims are all numbers about the front wheels but total toe, which has tables of its own.
func (t *trial) claims() []claim {
	r, truth := &t.outcome.Result, &t.truth
	list := []claim{
		{"track mm", r.TrackMm, truth.TrackMm},
		{"front gap mm", r.GapFrontMm, truth.GapFrontMm},
		{"rear gap mm", r.GapRearMm, truth.GapRearMm},
	}
	for i, w := range []samples.WheelTruth{truth.Wheels.L, truth.Wheels.R} {
		list = append(list,
			claim{"camber deg", r.Wheels[i].CamberDeg, w.RimCamberDeg},
			claim{"rim diameter mm", r.Wheels[i].RimDiameterMm, w.RimDiameterMm})
	}
	return list
}

// numbers prints how well each of the other numbers was met.
func (b *bench) numbers(trials []*trial) {
	type met struct {
		errors, z moments
		inside    int
	}
	var names []string
	found := map[string]*met{}
	for _, t := range trials {
		if !t.measured() {
			continue
		}
		for _, c := range t.claims() {
			m := found[c.name]
			if m == nil {
				m = &met{}
				found[c.name] = m
				names = append(names, c.name)
			}
			off := c.said.Value - c.truth
			m.errors.add(off)
			m.z.add(off / c.said.StandardUncertainty)
			if covers(c.said, c.truth) {
				m.inside++
			}
		}
	}
	for i, name := range names {
		if i == 0 {
			b.printf("%-26s %-15s %-11s %s\n", "other numbers", "RMS, worst", "z RMS,worst", "in 95 %")
		}
		m := found[name]
		b.printf("%-26s %-15s %-11s %s\n", name, m.errors.words("%.2f %.2f"), m.z.words("%.2f %.1f"), percent(m.inside, m.errors.n))
	}
}
