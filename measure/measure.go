package measure

import (
	"cmp"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
	"path/filepath"
	"slices"

	"rimpair/vision"
)

// Measure measures one state of a vehicle from its photos. The error is a
// *vision.Refusal when the photos do not settle a number. The photos' order and names
// mean nothing to it.
func Measure(inputs []Input, settings Settings) (*Measurement, error) {
	order := byContent(inputs)
	m, f, err := settle(arranged(inputs, order), settings)
	if err != nil {
		return nil, err
	}
	measurement := m.report(f)
	measurement.restore(order)
	return measurement, nil
}

// byContent is an order of photos that depends on their pixels alone, not on the order they
// were given in or on what else is in their files, so that what is drawn by lot in the
// search falls alike.
func byContent(inputs []Input) []int {
	order, pixels := make([]int, len(inputs)), make([]uint32, len(inputs))
	for i := range order {
		order[i] = i
		pixels[i] = crc32.ChecksumIEEE(inputs[i].Photo.Gray.Pix)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(pixels[a], pixels[b]) })
	return order
}

func arranged[T any](list []T, order []int) []T {
	to := make([]T, len(list))
	for i, from := range order {
		to[i] = list[from]
	}
	return to
}

// restore has all that is of single photos in the order that they were given in.
func (m *Measurement) restore(order []int) {
	given := make([]int, len(order))
	for i, from := range order {
		given[from] = i
	}
	m.Result.Photos = arranged(m.Result.Photos, given)
	m.Overlays = arranged(m.Overlays, given)
	m.Top.Cameras = arranged(m.Top.Cameras, given)
}

// settle solves what the photos show and asks whether it fits what the person said.
func settle(inputs []Input, settings Settings) (*set, *fitted, error) {
	m, err := prepare(inputs, settings)
	if err != nil {
		return nil, nil, bentSheet(inputs, settings, err)
	}
	f, err := m.solve()
	if err != nil {
		return nil, nil, m.likelyCause(err)
	}
	if err := m.verifySaid(f); err != nil {
		return nil, nil, err
	}
	return m, f.sharpened(), nil
}

// solve leads from photos to a joint solution that can be believed.
func solve(inputs []Input, settings Settings) (*set, *fitted, error) {
	m, err := prepare(inputs, settings)
	if err != nil {
		return nil, nil, err
	}
	f, err := m.solve()
	return m, f, err
}

// solve leads from cameras and sheets to a joint solution that can be believed.
func (m *set) solve() (*fitted, error) {
	m.pairs = m.findPairs()
	f, err := m.solveFrom(m.pairs)
	if refusedAs(err, misread...) == nil || f != nil && m.missized(f) {
		return f, err
	}
	guardsTaken := refusedAs(err, "mudguards") != nil
	for _, size := range slices.Compact([]float64{m.settings.BeadSeatMm, m.sizeSoFarMm()}) {
		pairs := ofSize(m.pairs, size)
		var byRims []rimsReading
		for _, a := range approaches {
			if guardsTaken && !a.guarded || a.grainy && m.grain(pairs) < leastGrain {
				continue
			}
			again := *m
			again.approach, again.settings.BeadSeatMm = a, size
			f, refused := again.solveFrom(pairs)
			if refused != nil && f != nil && again.byRimsAlone(f) {
				byRims = append(byRims, rimsReading{again, f})
				if r, ok := alike(byRims); ok {
					again, f, refused = r.m, r.f, nil
				}
			}
			if refused == nil {
				again.settings = m.settings
				*m = again
				return f, nil
			}
		}
	}
	return nil, err
}

// sizeSoFarMm is the bead seat diameter that was given, or else the one that a first look at
// the rims' edges made it; 0 where there was none. verifySize holds either against the tyres.
func (m *set) sizeSoFarMm() float64 {
	if m.settings.BeadSeatMm == 0 && m.knowledge.rimSigma == 0 {
		return 2 * m.knowledge.rims[Left]
	}
	return m.settings.BeadSeatMm
}

// ofSize are the pairs with rims of one bead seat diameter; 0: of any.
func ofSize(pairs []pairGuess, beadSeatMm float64) []pairGuess {
	return slices.DeleteFunc(slices.Clone(pairs), func(g pairGuess) bool { return beadSeatMm != 0 && 2*g.bead != beadSeatMm })
}

// approach is how edges are taken for the wheels'.
type approach struct {
	// coarse: over longer stretches. Grains of asphalt as light and as dark as a tyre may
	// break up its outline, where a careful eye follows it farther.
	coarse bool
	// grainy: by the lightest grains, where a dusty tyre is as light as asphalt on average, but
	// smooth; over longer stretches as well.
	grainy bool
	// guarded: the rims' first, as under mudguards, whose edges pass for a tyre's.
	guarded bool
	// rimsAlone: with hardly anything left of the tyres, where readings that hear the rims first agree.
	rimsAlone bool
}

// misread are refusals that edges taken for others lead to, and approaches what is tried then:
// where a mudguard was, only what does not take it again.
var (
	misread    = []string{"wheel_unclear", "size_mismatch", "mudguards"}
	approaches = []approach{{coarse: true}, {coarse: true, grainy: true}, {guarded: true}, {coarse: true, guarded: true}}
)

// solveFrom is solve from pairs of guessed wheels, best first. What is not believed is returned
// beside the reason.
func (m *set) solveFrom(pairs []pairGuess) (*fitted, error) {
	f, err := m.fitFrom(pairs)
	if err != nil {
		return nil, err
	}
	return f, m.believe(f)
}

// believe refuses a solution that a careful eye would not believe.
func (m *set) believe(f *fitted) error {
	// The size late: wheels that moved between photos come out in a wrong size as well.
	for _, checks := range [][]func(*fitted) error{{m.verify}, {m.verifyParts, m.verifyState}, {m.verifySize}, {m.verifyLenses, m.verifyPair, m.verifyMotions}} {
		if err := firstError(checks, f); err != nil {
			return err
		}
	}
	return nil
}

// firstError asks all checks at once; of several errors the first in order counts.
func firstError(checks []func(*fitted) error, f *fitted) error {
	errs := make([]error, len(checks))
	each(len(checks), func(i int) { errs[i] = checks[i](f) })
	return cmp.Or(errs...)
}

// fitFrom is the joint solution from pairs of guessed wheels, not yet believed.
func (m *set) fitFrom(pairs []pairGuess) (*fitted, error) {
	scene, err := m.seekFrom(pairs)
	if err != nil {
		return nil, err
	}
	return m.fit(scene)
}

// prepare finds where cameras and sheets stand, from the sheets' corners alone.
func prepare(inputs []Input, settings Settings) (*set, error) {
	if err := checkInputs(inputs); err != nil {
		return nil, err
	}
	m, err := newSet(inputs, settings)
	if err != nil {
		return nil, err
	}
	if err := m.adjustCameras(); err != nil {
		return nil, sheetsMoved("", "The sheets do not lie in the same places in all photos.")
	}
	if err := m.verifyCameras(); err != nil {
		return nil, m.orProfile(err)
	}
	for _, check := range []func() error{m.verifyProfiles, m.verifySheets} {
		if err := check(); err != nil {
			return nil, err
		}
	}
	m.addCopies()
	return m, nil
}

// checkInputs refuses what no adjustment need be tried on.
func checkInputs(inputs []Input) error {
	if len(inputs) == 0 {
		return &vision.Refusal{Code: "no_photos", Reason: "There is no photo.", Remedy: "Give at least one photo, better one from the front and one from the rear."}
	}
	seen := map[[32]byte]string{}
	for _, in := range inputs {
		p := in.Photo
		if other, ok := seen[p.SHA256]; ok {
			return &vision.Refusal{
				Code: "same_photo_twice", Photo: p.Path,
				Reason: fmt.Sprintf("This is the same photo as %s.", filepath.Base(other)),
				Remedy: "Give each photo once; a second photo from the same place is better than the same one twice.",
			}
		}
		seen[p.SHA256] = p.Path
		if blur := vision.BlurPx(in.Corners); blur > maxBlurPx {
			return &vision.Refusal{
				Code: "too_blurred", Photo: p.Path,
				Reason: fmt.Sprintf("The photo is too blurred: edges spread over %.1f px.", blur),
				Remedy: "Hold the phone still, let it focus on the floor between the wheels, give more light, and take it again.",
			}
		}
	}
	return nil
}

// maxBlurPx is the blur, as a standard deviation, from which edges no longer stand
// apart from what lies 10 px beside them.
const maxBlurPx = 4.0

// seek finds both wheels by their tyres' outlines, or by their rims' edges where those are heard
// first, the cameras held.
func (m *set) seek() (*Scene, error) { return m.seekFrom(m.findPairs()) }

// seekFrom is seek from pairs of guessed wheels, best first.
func (m *set) seekFrom(pairs []pairGuess) (*Scene, error) {
	if len(pairs) == 0 {
		return nil, m.noWheels()
	}
	scene, err := m.fitPair(pairs)
	if err != nil {
		return nil, m.unsettled(err)
	}
	return scene, nil
}

// fit leads from there to the joint solution, the rims' edges included.
func (m *set) fit(scene *Scene) (*fitted, error) {
	rimsFirst := m.approach.guarded // since little of the tyres may be left to hold the wheels
	if rimsFirst {
		scene = m.findRims(scene)
	}
	f, err := m.fitJointly(scene, rimsFirst)
	if err != nil {
		return nil, m.unsettled(err)
	}
	if m.settings.BeadSeatMm == 0 {
		m.guessRims(f.scene)
	}
	f, err = m.fitJointly(m.findRims(f.scene), true)
	if err == nil && m.upperSeen(f) {
		m.hearing.lower = [2]bool{}
		f, err = m.fitJointly(f.scene, true)
	}
	if err != nil {
		return nil, m.unsettled(err)
	}
	f.doubt = m.doubt(f)
	return f, nil
}

func (m *set) noWheels() error {
	return &vision.Refusal{
		Code:   "wheels_not_found",
		Reason: "No two front wheels were found beside the sheets.",
		Remedy: "Take the photos so that both front wheels and the sheets are whole in each, the wheels standing on the floor, the sheets' arrows forward.",
	}
}

// unsettled turns a failure of the solver into words for the person.
func (m *set) unsettled(err error) error {
	var refusal *vision.Refusal
	if errors.As(err, &refusal) {
		return err
	}
	var rank *RankError
	if errors.As(err, &rank) {
		return unclear("", "Too few edges of the wheels are seen to settle where they are.")
	}
	return &vision.Refusal{
		Code:   "not_settled",
		Reason: fmt.Sprintf("The photos do not agree on where the wheels are (%v).", err),
		Remedy: "Check that all photos show the same vehicle, not moved in between, and add a photo from the opposite side.",
	}
}

// coverage95 is the factor from a standard uncertainty to a 95 % interval of a
// normal distribution (JCGM 100, table G.1).
const coverage95 = 1.96

func quantity(value, u float64) Quantity {
	return Quantity{Value: value, StandardUncertainty: u, Low95: value - coverage95*u, High95: value + coverage95*u}
}

// inflation widens all intervals when the residuals are larger than stated or the
// outlines in doubt, and never narrows them.
func (f *fitted) inflation() float64 { return math.Sqrt(max(1, f.chiSquarePerDof())) * max(1, f.doubt) }

func (f *fitted) chiSquarePerDof() float64 {
	return 2 * f.solution.Cost / float64(max(1, f.solution.Rows-f.adjustment.layout.n))
}

// quantity evaluates something with the adjustment's uncertainty, and with what it depends
// on besides: contributions of type B, in its own unit.
func (f *fitted) quantity(of func(*Scene) float64, besides ...float64) Quantity {
	lines := f.lines(f.gradient(of))
	for _, u := range besides {
		lines = append(lines, BudgetLine{ContributionMm: u})
	}
	return combined(lines).Of(of(f.scene))
}

const degPerRad = 180 / math.Pi

// report says what the joint solution means.
func (m *set) report(f *fitted) *Measurement {
	rim := f.quantity(m.totalToeMm)
	rear := m.plainestRear(f)
	var behind *RearResult
	if rear != nil {
		behind = m.rearResult(f, rear, rim)
	}
	budget := m.budget(f, m.steeringLine(f.scene, behind))
	toe := combined(budget)
	whole := expanded(toe)
	r := Result{
		Schema:          "rimpair/measurement/1",
		TotalToeMm:      toe.Of(rim.Value),
		RimTotalToeMm:   rim,
		TrackMm:         f.quantity(m.trackMm),
		GapFrontMm:      m.gap(f, true),
		GapRearMm:       m.gap(f, false),
		HubHeightMm:     f.quantity(m.hubHeightMm),
		ChiSquarePerDof: f.chiSquarePerDof(),
		Budget:          budget,
		Expanded:        &whole,
		Rear:            behind,
		Notes:           append(m.notes(f), m.rearNotes(behind)...),
	}
	for side := range f.scene.Wheels {
		r.Wheels = append(r.Wheels, m.wheelResult(f, Side(side)))
		if rear != nil {
			r.Wheels[side].ToeDeg = m.ownToe(f, rear, Side(side))
		}
	}
	for photo := range f.scene.Photos {
		r.Photos = append(r.Photos, m.photoResult(f, photo))
	}
	m.addRunout(f, &r)
	r.Advice = m.advice(f, rim, m.runoutSigmaMm())
	measurement := &Measurement{Result: r, Top: m.topView(f), Cameras: m.refinedCameras(f)}
	for photo := range f.scene.Photos {
		measurement.Overlays = append(measurement.Overlays, m.overlay(f, photo))
	}
	if rear != nil {
		rear.mark(&measurement.Overlays[rear.photo])
	}
	return measurement
}

func (m *set) wheelResult(f *fitted, side Side) WheelResult {
	return WheelResult{
		Side:          side.String(),
		ToeDeg:        f.quantity(func(s *Scene) float64 { return m.toeRad(s) * degPerRad }),
		CamberDeg:     f.quantity(func(s *Scene) float64 { return m.camberRad(s, side) * degPerRad }),
		RimDiameterMm: m.rimDiameter(f, side),
		RimSeen:       m.rimSeen(side),
	}
}

func (m *set) rimSeen(side Side) bool {
	return m.rims[side][FaceLeft].found || m.rims[side][FaceRight].found
}

// rimDiameter is as seen, or as the bead seat makes it expect.
func (m *set) rimDiameter(f *fitted, side Side) Quantity {
	if !m.rimSeen(side) {
		return quantity(2*m.rimRadius(f.scene, side), 2*m.knowledge.outerSigma())
	}
	// Where light from above shades the lip off, the edge that is seen may lie anywhere over
	// its rounding: a rectangular distribution (JCGM 100, 4.3.7).
	edge := lipMm / math.Sqrt(3)
	return f.quantity(func(s *Scene) float64 { return 2 * m.rimRadius(s, side) }, 2*edge)
}

func (m *set) photoResult(f *fitted, photo int) PhotoResult {
	in := m.inputs[photo]
	p := PhotoResult{
		File: filepath.Base(in.Photo.Path), Width: in.Photo.Gray.Width, Height: in.Photo.Gray.Height,
		Corners: len(in.Corners),
		FocalPx: f.quantity(func(s *Scene) float64 { return s.view(photo).camera.F }),
	}
	for i, c := range in.Corners {
		if i == 0 || c.Sheet != in.Corners[i-1].Sheet {
			p.Sheets = append(p.Sheets, c.Sheet)
		}
	}
	var corners rms
	for i, residual := range m.cornerResiduals(f.scene) {
		if m.corners[i].photo == photo {
			corners.add(residual)
		}
	}
	p.CornerRmsPx = corners.value() / math.Sqrt2 // of one coordinate
	for side := range f.scene.Wheels {
		var tyre, rim rms
		for i, o := range f.adjustment.edges {
			if o.photo != photo || o.side != Side(side) || math.Abs(f.residuals[i]) > tukeyCut*o.sigma {
				continue
			}
			if o.kind == RimCircle {
				rim.weigh(f.residuals[i], o.factor)
			} else {
				tyre.weigh(f.residuals[i], o.factor)
			}
		}
		p.Wheels = append(p.Wheels, PhotoWheel{
			Side: Side(side).String(), TyrePoints: tyre.n, TyreRmsPx: tyre.value(), RimPoints: rim.n, RimRmsPx: rim.value(),
		})
	}
	return p
}

// rms accumulates a root mean square.
type rms struct {
	sum, weight float64
	n           int
}

func (r *rms) add(v float64) { r.weigh(v, 1) }

// weigh adds a value that is so many times as uncertain as others.
func (r *rms) weigh(v, factor float64) {
	w := 1 / (factor * factor)
	r.sum += w * v * v
	r.weight += w
	r.n++
}

func (r *rms) value() float64 {
	if r.n == 0 {
		return 0
	}
	return math.Sqrt(r.sum / r.weight)
}

// notes are what a reader must know beside the numbers.
func (m *set) notes(f *fitted) []Message {
	var notes []Message
	if f.doubt > 1 {
		notes = append(notes, Message{"outlines_in_doubt", Params{"times": f.doubt}})
	}
	if len(m.inputs) == 1 && m.knowledge.cameras[0].white == nil {
		notes = append(notes, Message{Code: "one_photo"})
	}
	if hidden := m.mayHideRad(f); hidden > 0 {
		notes = append(notes, Message{"one_state", Params{"degrees": hidden * degPerRad, "mm": hidden * m.rimsMm(f.scene) / 2}})
	}
	notes = append(notes, m.profileNotes()...)
	if len(m.scene.Sheets) == 1 {
		notes = append(notes, Message{Code: "one_sheet"})
	}
	for _, side := range [2]Side{Left, Right} {
		if !m.rimSeen(side) {
			notes = append(notes, Message{"tyre_alone", Params{"side": side.String()}})
		}
	}
	notes = append(notes, m.rimNotes()...)
	if outer := m.settings.RimOuterMm; outer != 0 {
		notes = append(notes, Message{"rim_by_hand", Params{"diameter": outer, "within": 2 * handSigmaMm}})
	}
	return notes
}

// rimNotes say what the rims' size was taken as, where it was not given.
func (m *set) rimNotes() []Message {
	if m.settings.BeadSeatMm != 0 {
		return nil
	}
	return []Message{{"rim_guessed", Params{"diameter": 2 * m.knowledge.rims[Left]}}}
}
