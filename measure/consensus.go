package measure

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// This file finds which edges are a tyre's outline. Around a guessed wheel every
// probe offers some edges; most belong to mudguards, stripes, shadows, frame tubes
// and the floor. Small samples of them, each with what is known beforehand, give
// wheels; the wheel that the most probes agree with is kept (random sample
// consensus: Fischler and Bolles, Communications of the ACM 24, 1981). Over the
// window the distance of an edge from the outline is linear in the wheel's numbers,
// so that no picture is looked at while sampling.

// tyreNumbers are the wheel's unknowns that shape its outline: centre, heading,
// tilt, ring, tube.
const tyreNumbers = wheelRim

// ballot is what one probe offers.
type ballot struct {
	sin    float64              // of its angle above the hub
	slope  [tyreNumbers]float64 // how the outline moves outward here, px per unit
	offers []offer
}

type offer struct{ offset, weight float64 }

const (
	ballotWindowPx   = 30.0
	ballotSpacingPx  = 12.0
	ballotTolerance  = 2.5  // px, within which an edge agrees
	fullOfferStep    = 0.25 // step from which an edge counts fully
	belowSin         = 0.1  // sine of the angle above the hub to which no mudguard reaches
	clearlyBetter    = 0.05 // share of agreement by which the lower part alone must win
	sampleSize       = 5
	samples          = 1500
	samplesPolished  = 24
	polishIterations = 6
)

// guessSpread is how far off a guess may be: standard uncertainties of
// tyreNumbers' seven.
var guessSpread = [tyreNumbers]float64{10, 14, 7, 0.03, 0.03, 8, 3}

// contender is a wheel that edges voted for, and the share of the probes that agree.
type contender struct {
	wheel Wheel
	share float64
	lower bool // only the lower part of the outline was heard
	heard int  // ballots of the whole outline around the guess, or of the rim's edges
}

// contenders are the wheels around a guessed one that the most edges agree with. A
// mudguard is an outline of its own about the same axle, and may win where it covers
// much of the tyre; so the lower part, which none covers, is heard alone as well.
// Around the winner of either the edges are looked for and heard once more, since an
// outline is linear in the wheel's numbers only near it.
func (m *set) contenders(scene *Scene, side Side) []contender {
	var list []contender
	around := m.ballots(scene, side, outlineVisible)
	for _, lower := range [2]bool{false, true} {
		part, visible := around, outlineVisible
		if lower {
			part, visible = lowerBallots(around), lowerVisible
		}
		first := m.vote(&scene.Wheels[side], part, lower)
		if len(first) == 0 {
			continue
		}
		s := scene.clone()
		s.Wheels[side] = first[0].wheel
		list = append(list, first...)
		list = append(list, m.vote(&s.Wheels[side], m.ballots(s, side, visible), lower)...)
	}
	for i := range list {
		list[i].heard = len(around)
	}
	return list
}

// vote returns the wheels that most edges around a guessed one agree with: of its
// whole outline or of the lower part.
func (m *set) vote(start *Wheel, ballots []ballot, lower bool) []contender {
	handicap := 0.0
	if lower {
		handicap = clearlyBetter
	}
	prior := m.guessPrior(start)
	var list []contender
	for _, c := range poll(ballots, &prior, ballotTolerance) {
		list = append(list, contender{wheel: start.movedBy(&c.delta), share: c.share - handicap, lower: lower})
	}
	return list
}

// lowerBallots are those of a tyre's outline where no mudguard reaches.
func lowerBallots(outline []ballot) []ballot {
	return slices.DeleteFunc(slices.Clone(outline), func(b ballot) bool { return b.sin > belowSin })
}

// movedBy is the wheel with its tyre's numbers changed.
func (w Wheel) movedBy(d *[tyreNumbers]float64) Wheel {
	w.Centre = r3.Add(w.Centre, r3.Vec{X: d[0], Y: d[1], Z: d[2]})
	w.HeadingRad += d[wheelHeading]
	w.TiltRad += d[wheelTilt]
	w.Ring += d[wheelRing]
	w.Tube += d[wheelTube]
	return w
}

// hearing is what came of a vote on both wheels.
type hearing struct {
	support [2]float64 // share of the outline's probes that agree
	lower   [2]bool    // the lower part alone won: there is a mudguard
	heard   [2]int     // how many ballots there were
}

// oneSided says whether the edges of one wheel are far fewer than the other's: along a frame tube
// below the camera a wheel would be seen so nearly from its edge that few of them agree on all.
func (h *hearing) oneSided() bool {
	return 2*min(h.heard[Left], h.heard[Right]) < max(h.heard[Left], h.heard[Right])
}

// hearBoth lets the edges vote on both wheels.
func (m *set) hearBoth(scene *Scene) hearing {
	if m.approach.guarded {
		return m.hearRims(scene)
	}
	var heard [2][]contender
	each(len(heard), func(side int) { heard[side] = m.contenders(scene, Side(side)) })
	h, _ := m.elect(scene, &heard)
	return h
}

// elect takes the contenders that make the best pair: a vehicle has the same tyres on both
// sides, and stands straight.
func (m *set) elect(scene *Scene, heard *[2][]contender) (elected hearing, best float64) {
	best = math.Inf(-1)
	for _, l := range heard[Left] {
		for _, r := range heard[Right] {
			if score := l.share + r.share - m.unlikely(&l.wheel, &r.wheel); score > best {
				best = score
				elected = hearing{support: [2]float64{l.share, r.share}, lower: [2]bool{l.lower, r.lower}, heard: [2]int{l.heard, r.heard}}
				scene.Wheels[Left], scene.Wheels[Right] = l.wheel, r.wheel
			}
		}
	}
	return elected, best
}

// unlikely is the penalty for two wheels that differ, and for tyres that reach inward of their
// rims' bead seats, as a mudguard does that is taken for a tyre. Builders' practice, no source,
// as for pairSpread. It only guides the choice of edges.
func (m *set) unlikely(l, r *Wheel) float64 {
	differences := [...]struct{ value, spread float64 }{
		{l.Ring + l.Tube - r.Ring - r.Tube, 1.5},
		{l.Tube - r.Tube, 1.5},
		{l.Centre.Z - r.Centre.Z, 2},
		{l.TiltRad + r.TiltRad, 0.012},
	}
	unlike := 0.0
	for _, d := range differences {
		unlike += d.value * d.value / (d.spread * d.spread)
	}
	unfit := 0.0
	for side, w := range [2]*Wheel{l, r} {
		inward := max(0, m.knowledge.rims[side]-w.Ring+w.Tube) / math.Hypot(tubeSigmaMm, m.knowledge.rimSigma)
		unfit += min(inward*inward, unlikeMost)
	}
	return unlikeWeight * (min(unlike, unlikeMost) + unfit)
}

const (
	unlikeWeight = 0.02 // of a spread squared against the share of agreeing probes
	unlikeMost   = 50.0
)

// favourite is what a poll came to.
type favourite struct {
	delta [tyreNumbers]float64
	score float64
	share float64
}

// poll returns the changes that the most ballots agree with, best first.
func poll(ballots []ballot, prior *guessPrior, tolerance float64) []favourite {
	if len(ballots) == 0 {
		return nil
	}
	atMost := mostAgreement(ballots)
	// consider is no favourite where the score would be less than least.
	consider := func(delta [tyreNumbers]float64, least float64) (favourite, bool) {
		penalty := prior.penalty(&delta)
		agreed, ok := agreement(ballots, atMost, &delta, tolerance, least+penalty)
		score := agreed - penalty
		return favourite{delta, score, score / float64(len(ballots))}, ok && score > least
	}
	// A fixed seed: the same photos give the same numbers.
	random := rand.New(rand.NewPCG(1, 2))
	first, _ := consider([tyreNumbers]float64{}, math.Inf(-1))
	best := append(make([]favourite, 0, samplesPolished+1), first)
	for range samples {
		fit := newLinearFit(prior)
		for range sampleSize {
			b := &ballots[random.IntN(len(ballots))]
			fit.add(&b.slope, b.offers[random.IntN(len(b.offers))].offset, 1/(tolerance*tolerance))
		}
		delta, ok := fit.solve()
		if !ok {
			continue
		}
		if c, ok := consider(delta, leastOf(best)); ok {
			best = ranked(best, c)
		}
	}
	for i := range best {
		for range polishIterations {
			delta, ok := polish(ballots, prior, &best[i].delta, tolerance)
			if !ok {
				break
			}
			c, better := consider(delta, best[i].score)
			if !better {
				break
			}
			best[i] = c
		}
	}
	slices.SortStableFunc(best, func(a, b favourite) int { return cmp.Compare(b.score, a.score) })
	return best
}

// leastOf is the score that one more of the best must exceed.
func leastOf(best []favourite) float64 {
	if len(best) < samplesPolished {
		return math.Inf(-1)
	}
	return best[len(best)-1].score
}

// ranked adds one to the best, which are in order; the last one goes where they are too many.
func ranked(best []favourite, c favourite) []favourite {
	at := len(best)
	for at > 0 && best[at-1].score < c.score {
		at--
	}
	best = slices.Insert(best, at, c)
	return best[:min(len(best), samplesPolished)]
}

// polish fits all offers near delta, weighted by Tukey's biweight.
func polish(ballots []ballot, prior *guessPrior, delta *[tyreNumbers]float64, tolerance float64) ([tyreNumbers]float64, bool) {
	fit := newLinearFit(prior)
	within := tolerance * tolerance
	for i := range ballots {
		b := &ballots[i]
		if o, square := b.nearest(b.moved(delta), within); square < within {
			near := 1 - square/within
			fit.add(&b.slope, o.offset, o.weight*near*near)
		}
	}
	return fit.solve()
}

// question is what a poll asks of the edges along a curve.
type question struct {
	layout    layout // whose columns are the numbers polled
	windowPx  float64
	sign      float64 // of the step outward
	leastStep float64
	fullStep  float64
	// counts says whether an edge may be the curve's; nil: any.
	counts edgeTest
	// not says which edges, so far outward from a point, belong to something else; nil: none.
	not func(ip *imagePoint, offset float64) bool
}

// ballots probes what is visible of the outline of a guessed wheel in all photos.
func (m *set) ballots(scene *Scene, side Side, visible func(*imagePoint) bool) []ballot {
	var list []ballot
	for photo := range scene.Photos {
		list = append(list, m.photoBallots(scene, photo, side, visible)...)
	}
	return list
}

func (m *set) photoBallots(scene *Scene, photo int, side Side, visible func(*imagePoint) bool) []ballot {
	q := question{
		layout:   newLayout(scene, free{tyres: [2]bool{side == Left, side == Right}}),
		windowPx: ballotWindowPx, sign: 1, leastStep: minOutlineStep, fullStep: fullOfferStep, counts: mayEndTyre,
	}
	c := newLocus(scene.wheel(photo, side), TyreOuter, 0, scene.view(photo))
	o := edgeObservation{photo: photo, side: side, kind: TyreOuter}
	return m.ask(&q, &c, o, m.probes(&c, photo, ballotSpacingPx, visible))
}

// ask returns the ballots of some points of a curve; o says of what.
func (m *set) ask(q *question, c *locus, o edgeObservation, points []imagePoint) []ballot {
	var list []ballot
	a := adjustment{layout: q.layout}
	photo := m.inputs[o.photo].Photo
	for i := range points {
		ip := &points[i]
		b := ballot{sin: math.Sin(ip.u)}
		probe := m.probe(c, ip, q.windowPx)
		for _, e := range photo.Gray.Edges(probe) {
			if step := e.Step * q.sign; step >= q.leastStep && (q.counts == nil || q.counts(photo, &probe, &e)) && (q.not == nil || !q.not(ip, e.Offset)) {
				b.offers = append(b.offers, offer{e.Offset, min(1, step/q.fullStep)})
			}
		}
		if len(b.offers) == 0 {
			continue
		}
		var rows rowBuilder
		a.addWheel(c, ip, &o, 0, c.pose.R.Transpose().Apply(combine(ip.nx, ip.ny, &ip.jac)), &rows)
		for k, column := range rows.cols {
			b.slope[column] = rows.derivs[k]
		}
		list = append(list, b)
	}
	return list
}

// moved is where the outline moves by delta.
func (b *ballot) moved(delta *[tyreNumbers]float64) float64 {
	s := &b.slope
	return s[0]*delta[0] + s[1]*delta[1] + s[2]*delta[2] + s[3]*delta[3] + s[4]*delta[4] + s[5]*delta[5] + s[6]*delta[6]
}

// nearest is the offer nearest to a place, and the square of its distance from there; only one
// nearer than the square within is one.
func (b *ballot) nearest(at, within float64) (o offer, square float64) {
	square = within
	for _, c := range b.offers {
		if r := c.offset - at; r*r < square {
			o, square = c, r*r
		}
	}
	return o, square
}

// mostAgreement is what the probes from each on can agree at most.
func mostAgreement(ballots []ballot) []float64 {
	most := make([]float64, len(ballots)+1)
	for i := len(ballots) - 1; i >= 0; i-- {
		strongest := 0.0
		for _, o := range ballots[i].offers {
			strongest = max(strongest, o.weight)
		}
		most[i] = most[i+1] + strongest
	}
	return most
}

// agreement sums over the probes how well their nearest offers agree with delta, as long
// as the sum can reach least; atMost is their mostAgreement.
func agreement(ballots []ballot, atMost []float64, delta *[tyreNumbers]float64, tolerance, least float64) (sum float64, ok bool) {
	within := tolerance * tolerance
	for i := range ballots {
		if sum+atMost[i] < least {
			return sum, false
		}
		b := &ballots[i]
		o, square := b.nearest(b.moved(delta), within)
		sum += o.weight * (1 - square/within)
	}
	return sum, true
}

// guessPrior is what is known of a wheel's numbers about a guess, as information
// and its product with the mean.
type guessPrior struct {
	information [tyreNumbers][tyreNumbers]float64
	vector      [tyreNumbers]float64
	constant    float64
}

func (m *set) guessPrior(w *Wheel) guessPrior {
	var p guessPrior
	for i, spread := range guessSpread {
		p.know(i, 0, spread)
	}
	p.knowSum([tyreNumbers]float64{2: 1, wheelRing: -1, wheelTube: -1}, -hubSinkMm-(w.Centre.Z-w.Ring-w.Tube), hubSinkSigmaMm)
	p.knowSum([tyreNumbers]float64{wheelRing: 1, wheelTube: -1}, m.knowledge.rims[0]-(w.Ring-w.Tube), math.Hypot(tubeSigmaMm, m.knowledge.rimSigma))
	return p
}

// know adds that a number is mean ± sigma.
func (p *guessPrior) know(number int, mean, sigma float64) {
	var direction [tyreNumbers]float64
	direction[number] = 1
	p.knowSum(direction, mean, sigma)
}

// knowSum adds that a sum of numbers, with the factors in direction, is mean ± sigma.
func (p *guessPrior) knowSum(direction [tyreNumbers]float64, mean, sigma float64) {
	weight := 1 / (sigma * sigma)
	for i, a := range direction {
		for j, b := range direction {
			p.information[i][j] += weight * a * b
		}
		p.vector[i] += weight * a * mean
	}
	p.constant += weight * mean * mean
}

// penalty is half the squared distance from what is known.
func (p *guessPrior) penalty(delta *[tyreNumbers]float64) float64 {
	sum := p.constant
	for i, a := range delta {
		sum -= 2 * a * p.vector[i]
		for j, b := range delta {
			sum += a * b * p.information[i][j]
		}
	}
	return sum / 2
}

// linearFit accumulates normal equations of tyreNumbers unknowns.
type linearFit struct {
	matrix [tyreNumbers][tyreNumbers]float64
	vector [tyreNumbers]float64
}

func newLinearFit(p *guessPrior) linearFit { return linearFit{p.information, p.vector} }

// add observes one offset; only the lower triangle is kept.
func (f *linearFit) add(slope *[tyreNumbers]float64, offset, weight float64) {
	for i, a := range slope {
		a *= weight
		for j := range i + 1 {
			f.matrix[i][j] += a * slope[j]
		}
		f.vector[i] += a * offset
	}
}

// solve factors the matrix in place (Cholesky) and solves for the unknowns; polls ask
// it so often that nothing is allocated.
func (f *linearFit) solve() (delta [tyreNumbers]float64, ok bool) {
	m := &f.matrix
	for i := range tyreNumbers {
		for j := range i + 1 {
			sum := m[i][j]
			for k := range j {
				sum -= m[i][k] * m[j][k]
			}
			if i > j {
				m[i][j] = sum / m[j][j]
				continue
			}
			if !(sum > 0) {
				return delta, false
			}
			m[i][i] = math.Sqrt(sum)
		}
	}
	for i := range tyreNumbers {
		sum := f.vector[i]
		for k := range i {
			sum -= m[i][k] * delta[k]
		}
		delta[i] = sum / m[i][i]
	}
	for i := tyreNumbers - 1; i >= 0; i-- {
		for k := i + 1; k < tyreNumbers; k++ {
			delta[i] -= m[k][i] * delta[k]
		}
		delta[i] /= m[i][i]
	}
	return delta, true
}
