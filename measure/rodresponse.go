package measure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"rimpair/vision"
)

// This file finds how much toe a turn makes: from the linkage, from what was
// learned on the vehicle, or from all of it, weighted by the inverse variances
// (JCGM 100, 5.1 and 5.2 for what the latest record shares with the measurement).

// response is the toe that one turn makes: of the rod, or of both of two rods,
// longer.
type response struct {
	perTurnMm, u float64
	// covariance with the measured toe, which ends the record.
	covariance float64
	sources    []string
	// scale is how much more toe the vehicle makes than its described linkage.
	scale float64
	// parts of u by figure, and what the record brings.
	byFigure setup
	byRecord float64
}

// evidence is one source of a response.
type evidence struct {
	source           string
	value, u         float64
	withMeasuredToe  float64 // covariance
	byFigure         setup
	comesFromLinkage bool
}

// response is nil where nothing is known.
func (p *plan) response() (*response, error) {
	var list []evidence
	if p.described {
		e, err := p.linkageEvidence()
		if err != nil {
			return nil, err
		}
		list = append(list, e)
	}
	if told := p.steering.MmPerTurn; told != nil {
		if !(told.StandardUncertainty > 0) || told.Value == 0 {
			return nil, fmt.Errorf("steering: toe_mm_per_turn of %g with a standard uncertainty of %g", told.Value, told.StandardUncertainty)
		}
		list = append(list, evidence{source: "learned", value: told.Value, u: told.StandardUncertainty})
	}
	if len(p.steering.Record) > 0 {
		e, err := p.recordEvidence()
		if err != nil {
			return nil, err
		}
		list = append(list, e)
	}
	if len(list) == 0 {
		return nil, nil
	}
	if err := agree(list); err != nil {
		return nil, err
	}
	return blend(list), nil
}

// disagreeAt is how many standard uncertainties two sources may differ by: 1 in
// 1000 by chance.
const disagreeAt = 3.3

func agree(list []evidence) error {
	for i, a := range list {
		for _, b := range list[:i] {
			if math.Abs(a.value-b.value) > disagreeAt*math.Hypot(a.u, b.u) {
				return &vision.Refusal{
					Code: "turns_disagree",
					Reason: fmt.Sprintf("A turn makes %.1f ± %.1f mm of toe by the %s, but %.1f ± %.1f mm by the %s.",
						b.value, coverage95*b.u, b.source, a.value, coverage95*a.u, a.source),
					Remedy: "Check the arm length, the thread, whether the rods run behind or in front of the kingpins, and what was turned which way; leave out what is not certain.",
				}
			}
		}
	}
	return nil
}

func blend(list []evidence) *response {
	r := &response{scale: 1}
	weights := 0.0
	for _, e := range list {
		weights += 1 / (e.u * e.u)
	}
	r.u = 1 / math.Sqrt(weights)
	for _, e := range list {
		w := 1 / (e.u * e.u) / weights
		r.perTurnMm += w * e.value
		r.covariance += w * e.withMeasuredToe
		r.sources = append(r.sources, e.source)
		if e.comesFromLinkage {
			for i, part := range e.byFigure {
				r.byFigure[i] = w * part
			}
		} else {
			r.byRecord = math.Hypot(r.byRecord, w*e.u)
		}
	}
	if list[0].comesFromLinkage {
		r.scale = r.perTurnMm / list[0].value
	}
	return r
}

// linkageEvidence is by central differences over half a turn either way.
func (p *plan) linkageEvidence() (evidence, error) {
	perTurn := func(x *setup) (float64, error) {
		longer := make([]float64, len(p.rods))
		shorter := make([]float64, len(p.rods))
		for i, r := range p.rods {
			longer[i] = r.share * r.leadMm / 2
			shorter[i] = -longer[i]
		}
		up, _, err := p.after(x, longer)
		if err != nil {
			return 0, err
		}
		down, _, err := p.after(x, shorter)
		return up - down, err
	}
	e := evidence{source: "linkage", comesFromLinkage: true}
	var err error
	if e.value, err = perTurn(&p.value); err != nil {
		return e, linkageRefusal(err)
	}
	if e.byFigure, err = p.contributions(perTurn); err != nil {
		return e, linkageRefusal(err)
	}
	// What the measured toe does to it is second order, and the steering off centre
	// likewise.
	e.byFigure[figToe], e.byFigure[figOff] = 0, 0
	for _, part := range e.byFigure {
		e.u = math.Hypot(e.u, part)
	}
	return e, nil
}

// contributions of each figure to the standard uncertainty of a quantity, signed:
// half of what it does from one standard uncertainty below to one above (JCGM 100,
// 5.1.3 note 2).
func (p *plan) contributions(quantity func(*setup) (float64, error)) (parts setup, err error) {
	for i, u := range p.u {
		if u == 0 {
			continue
		}
		x := p.value
		x[i] = p.value[i] + u
		up, err := quantity(&x)
		if err != nil {
			return parts, err
		}
		x[i] = p.value[i] - u
		down, err := quantity(&x)
		if err != nil {
			return parts, err
		}
		parts[i] = (up - down) / 2
	}
	return parts, nil
}

func linkageRefusal(err error) error {
	return &vision.Refusal{
		Code:   "steering_impossible",
		Reason: fmt.Sprintf("With these arms and rods %v.", err),
		Remedy: "Check the lengths and angles in the steering's description.",
	}
}

// recordEvidence fits toe = t + s·turns to the states of the record and the
// measured one by generalised least squares. A turn that was set wrongly shifts all
// later states, so states i and j share what the turns before both of them bring:
//
//	V = diag(u²) + s² u_turn² min(i, j).
func (p *plan) recordEvidence() (evidence, error) {
	n := len(p.steering.Record) + 1
	toe, turns, us := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, entry := range p.steering.Record {
		if !(entry.ToeMm.StandardUncertainty > 0) || !(math.Abs(entry.ToeMm.Value) < maxToeMm) {
			return evidence{}, fmt.Errorf("steering: state %d of the record has no toe with a standard uncertainty", i+1)
		}
		if !(math.Abs(entry.ThenLongerByTurns) > 0 && math.Abs(entry.ThenLongerByTurns) < 50) {
			return evidence{}, fmt.Errorf("steering: state %d of the record does not say what was turned then", i+1)
		}
		toe[i], us[i] = entry.ToeMm.Value, entry.ToeMm.StandardUncertainty
		turns[i+1] = turns[i] + entry.ThenLongerByTurns
	}
	toe[n-1], us[n-1] = p.value[figToe], p.u[figToe]
	var e evidence
	for range 2 { // the slope weighs the turns' own uncertainty
		turnVariance := math.Pow(e.value*p.turnU(), 2)
		v, x := mat.NewSymDense(n, nil), mat.NewDense(n, 2, nil)
		for i := range n {
			x.SetRow(i, []float64{1, turns[i]})
			for j := range i + 1 {
				v.SetSym(j, i, turnVariance*float64(j))
			}
			v.SetSym(i, i, v.At(i, i)+us[i]*us[i])
		}
		var weighted, normal, covariance, estimator mat.Dense
		err := weighted.Solve(v, x)
		if err == nil {
			normal.Mul(x.T(), &weighted)
			err = covariance.Inverse(&normal)
		}
		if err != nil {
			return e, errors.New("steering: the record's turns do not settle what a turn does")
		}
		estimator.Mul(&covariance, weighted.T()) // of t and s from the states
		e = evidence{
			source: "record", value: mat.Dot(estimator.RowView(1), mat.NewVecDense(n, toe)), u: math.Sqrt(covariance.At(1, 1)),
			withMeasuredToe: estimator.At(1, n-1) * us[n-1] * us[n-1],
		}
	}
	return e, nil
}

// turnU is the standard uncertainty of one turn of the steering, in turns: of two
// rods each makes half of the toe.
func (p *plan) turnU() float64 {
	sum, rods := 0.0, 0.0
	for _, r := range p.rods {
		sum += math.Pow(r.share*r.settingU(), 2)
		rods += r.share
	}
	return math.Sqrt(sum) / rods
}

// predicted is what a setting of the rods does.
type predicted struct {
	toeMm, u float64
	offDeg   float64
	parts    []ToePart
}

// predict is the toe after turning the rods, with its standard uncertainty.
func (p *plan) predict(r *response, turns []float64) (predicted, error) {
	var out predicted
	toe := p.value[figToe]
	if p.described {
		longer := make([]float64, len(turns))
		for i, t := range turns {
			longer[i] = t * p.rods[i].leadMm
		}
		after, off, err := p.after(&p.value, longer)
		if err != nil {
			return out, linkageRefusal(err)
		}
		out.toeMm, out.offDeg = toe+r.scale*(after-toe), off
	} else {
		equal := 0.0
		for _, t := range turns {
			equal += t / float64(len(turns))
		}
		out.toeMm = toe + r.perTurnMm*equal
		out.offDeg = turns[0] - equal // of no known size
	}
	// So many turns of the steering make that change.
	n := (out.toeMm - toe) / r.perTurnMm
	measured := p.u[figToe]*p.u[figToe] + 2*n*r.covariance + math.Pow(n*r.byRecord, 2)
	if r.byRecord > 0 {
		out.addPart("measured toe and record", measured)
	} else {
		out.addPart(figureNames[figToe], measured)
	}
	for i, part := range r.byFigure {
		out.addPart(figureNames[i], math.Pow(n*part, 2))
	}
	setting := 0.0
	for i, t := range turns {
		if t != 0 && p.rods[i].share > 0 {
			setting = math.Abs(r.perTurnMm) * p.turnU()
		}
	}
	out.addPart("setting the rods", setting*setting)
	out.finish()
	return out, nil
}
