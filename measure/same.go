package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// This file asks whether all photos show one state: vehicle, steering and sheets
// where they were. The adjustment is repeated with what may have been moved free
// in each photo; what moved then shows as a change that is large against its own
// uncertainty (the test of a hypothesis by additional unknowns: Baarda, "A testing
// procedure for use in geodetic networks", 1968). Each motion is asked for twice: with all else
// free, and by itself as Baarda's alternatives are, where less shows: a photo hardly tells a wheel
// that toes in from one that also stands lower and leans. That uncertainty is as the weights say, without
// their reserve: of a single photo's wheels there is none. In 22 given sets the toe between
// them differed from photo to photo by 1.1 times as much, in 60 drawn ones by 0.7 times; by
// itself, in 9 given pairs and 36 drawn ones of 2000 px, by 1.1 and 1.0 times, in 22 of a phone's
// size by 0.6 times.

// falseAlarm is how often a set of photos in which nothing moved may be refused
// for that, had its uncertainties no reserve.
const falseAlarm = 0.02

// powerZ is by how many standard uncertainties a change must exceed the alarm to give it with
// a power of 95 %. With the 80 % that Baarda takes 14 of 23 drawn pairs gave it.
const powerZ = 1.64

// significant is how many standard uncertainties a change must be if any of so many
// may give the alarm (Šidák, J. Am. Stat. Assoc. 62, 1967).
func significant(questions int) float64 {
	each := 1 - math.Pow(1-falseAlarm, 1/float64(questions))
	return distuv.UnitNormal.Quantile(1 - each/2)
}

// verifySheets refuses photos between which a sheet was moved: for each photo and
// sheet, the sheet may lie elsewhere in that photo.
func (m *set) verifySheets() error {
	limit := significant(len(sliding) * len(m.inputs))
	seen := map[[2]int]bool{} // photo, sheet
	for _, c := range m.corners {
		seen[[2]int{c.photo, c.sheet}] = true
	}
	for photo := range m.inputs {
		for sheet := range m.scene.Sheets {
			if !seen[[2]int{photo, sheet}] || !m.tiedWithout(photo, sheet, seen) {
				continue
			}
			if z, mm := m.sheetMoved(photo, sheet); z > limit {
				return sheetsMoved(m.inputs[photo].Photo.Path, fmt.Sprintf(
					"Against the other sheets, sheet %d lies %.0f mm from where the other photos show it.", m.scene.Sheets[sheet].Number, max(1, mm)))
			}
		}
	}
	return nil
}

// tiedWithout says whether a photo sees another sheet, and another photo this one.
func (m *set) tiedWithout(photo, sheet int, seen map[[2]int]bool) bool {
	otherSheet, otherPhoto := false, false
	for s := range m.scene.Sheets {
		otherSheet = otherSheet || s != sheet && seen[[2]int{photo, s}]
	}
	for p := range m.inputs {
		otherPhoto = otherPhoto || p != photo && seen[[2]int{p, sheet}]
	}
	return otherSheet && otherPhoto
}

// sheetMoved is by how much a sheet lies elsewhere in one photo than in the others:
// in standard uncertainties of the most significant of its place's two coordinates
// and its heading, and in mm.
func (m *set) sheetMoved(photo, sheet int) (z, mm float64) {
	trial := *m
	trial.scene = m.scene.clone()
	// The sheet as that photo shows it is a sheet of its own.
	own := len(trial.scene.Sheets)
	trial.scene.Sheets = append(trial.scene.Sheets, trial.scene.Sheets[sheet])
	trial.corners = slices.Clone(m.corners)
	for i := range trial.corners {
		if c := &trial.corners[i]; c.photo == photo && c.sheet == sheet {
			c.sheet = own
		}
	}
	l := newLayout(trial.scene, camerasAlone)
	l.slide(own, sheet)
	f, err := trial.fitCameras(l, Huber(2))
	if err != nil {
		return 0, 0 // what the corners do not settle they do not show moved
	}
	a, b := &f.scene.Sheets[own], &f.scene.Sheets[sheet]
	turn := a.Pose.R.Mul(b.Pose.R.Transpose())
	dx, dy := a.Pose.T.X-b.Pose.T.X, a.Pose.T.Y-b.Pose.T.Y
	for i, value := range [3]float64{math.Atan2(turn[1][0], turn[0][0]), dx, dy} {
		k := sliding[i]
		z = max(z, math.Abs(value)/f.differenceU(l.sheets[own][k], l.sheets[sheet][k]))
	}
	return z / f.inflation(), math.Hypot(dx, dy)
}

// differenceU is the standard uncertainty of one unknown less another, which may be
// fixed.
func (f *fitted) differenceU(i, j int) float64 {
	c := f.solution.Covariance
	variance := c.At(i, i)
	if j != fixed {
		variance += c.At(j, j) - 2*c.At(i, j)
	}
	return math.Sqrt(variance)
}

// sliding are a sheet's unknowns that a push across the floor changes: its heading
// and its place.
var sliding = [3]int{sheetTurn + 2, sheetMove, sheetMove + 1}

// slide leaves the last sheet these unknowns; in the others it is like another.
func (l *layout) slide(last, like int) {
	l.n = l.sheets[last][0]
	l.sheets[last] = l.sheets[like]
	for _, k := range sliding {
		l.sheets[last][k] = l.n
		l.n++
	}
}

// changeNumbers of both wheels are the unknowns of one photo's change.
const changeNumbers = 2 * changeUnknowns

// verifyState refuses photos between which the wheels moved, whatever else may have moved besides.
func (m *set) verifyState(f *fitted) error {
	if len(m.inputs) < 2 {
		return nil
	}
	g, err := m.fitApart(f)
	if err != nil {
		return m.unsettled(err)
	}
	f.changes = nil
	for photo := range m.inputs {
		c, ok := g.changeOf(photo)
		if !ok {
			continue
		}
		f.changes = append(f.changes, c)
		if _, u := c.along(&toeBetween); (m.approach != (approach{}) || m.needsRims()) && m.alarm()*u > rodsShowRad {
			return m.unsettled(errors.New("wheels that moved between them would not show"))
		}
	}
	return m.moved(f, (*change).along)
}

// verifyMotions refuses photos between which the wheels moved in one way alone, which shows at
// less than what it takes where all else may have moved as well. Mudguards taken for tyres
// differ so from photo to photo too, so it is asked last.
func (m *set) verifyMotions(f *fitted) error { return m.moved(f, m.byItself()) }

// byItself takes a motion by itself, but not where only the lower parts of the tyres are heard: too
// little of them is seen there to tell it from how these edges stray (a given pair in which nothing
// moved reached 3.9 standard uncertainties, of 81 others, given and drawn, none more than 2.8).
func (m *set) byItself() estimate {
	if m.lowerAlone() {
		return (*change).along
	}
	return (*change).alone
}

// estimate is how far the wheels went along a direction, with its uncertainty.
type estimate func(c *change, direction *[changeNumbers]float64) (value, u float64)

// alarm is how many standard uncertainties the wheels must have moved by.
func (m *set) alarm() float64 { return significant(len(motions) * len(m.inputs)) }

// moved refuses the photo of which a motion is the most significant.
func (m *set) moved(f *fitted, by estimate) error {
	most, said, photo := m.alarm(), "", 0
	// Of two photos either may be called the moved one: the later, then.
	for _, c := range slices.Backward(f.changes) {
		for _, motion := range motions {
			value, u := by(&c, &motion.direction)
			if z := math.Abs(value) / u; z > most*(1+1e-6) && math.Abs(value) >= motion.matters {
				most, said, photo = z, motion.say(value), c.photo
			}
		}
	}
	if said == "" {
		return nil
	}
	return photoDisagrees(m.inputs[photo].Photo.Path, fmt.Sprintf("In this photo the wheels %s than in the others.", said))
}

// mayHideRad is the least toe between the wheels that a photo would have shown to differ by, most
// likely; 0 of a single photo.
func (m *set) mayHideRad(f *fitted) (hidden float64) {
	for i := range f.changes {
		_, u := m.byItself()(&f.changes[i], &toeBetween)
		hidden = max(hidden, (m.alarm()+powerZ)*u)
	}
	return hidden
}

// apartRounds is how many of fitJointly's rounds fitApart has.
const apartRounds = 3

// apartPhotos is how many photos' say the edges have where photos are compared: each
// wheel is seen in one then, the lens in all. Of 35 drawn sets and the given ones none more
// is refused with it than with 2.5, and smaller moves show.
const apartPhotos = 3

// fitApart repeats the joint adjustment with wheels of its own for each photo: the
// first photo's, and for each other photo how they stand against those.
func (m *set) fitApart(f *fitted) (*fitted, error) {
	s := f.scene.clone()
	s.Changes = make([][2]Change, len(s.Photos))
	for photo := range s.Photos {
		s.Photos[photo].State = photo
	}
	learned := f.adjustment.learn(f.residuals, apartPhotos)
	// Rims that are plain hold wheels whose tyres are half hidden, and those that two photos need do.
	rims := m.rimsSettle(f) || m.needsRims()
	g := f
	for round := range apartRounds {
		var err error
		g, err = m.fitRound(s, rims, round, learned)
		if err != nil && (round == apartRounds-1 || !errors.Is(err, ErrNotConverged)) {
			return nil, err
		}
		s = g.scene
	}
	return g, nil
}

// change is how both wheels stand in one photo against all others.
type change struct {
	photo               int
	value               mat.VecDense
	covariance, weights mat.Dense // each the other's inverse
}

// changeOf is the best estimate of a photo's change if no other photo's differs:
// the weighted mean of what the others say.
func (f *fitted) changeOf(photo int) (c change, ok bool) {
	states := len(f.scene.Changes)
	var columns []int
	var values []float64
	design := mat.NewDense(changeNumbers*(states-1), changeNumbers, nil)
	for state := 1; state < states; state++ {
		for side := range 2 {
			numbers := f.scene.Changes[state][side].numbers()
			values = append(values, numbers[:]...)
			columns = append(columns, f.adjustment.layout.changes[state][side][:]...)
		}
		for k := range changeNumbers {
			switch photo {
			case 0: // all others differ from it alike
				design.Set((state-1)*changeNumbers+k, k, -1)
			case state:
				design.Set((state-1)*changeNumbers+k, k, 1)
			}
		}
	}
	n := len(values)
	covariance := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			covariance.SetSym(i, j, f.solution.Covariance.At(columns[i], columns[j]))
		}
	}
	covariance.ScaleSym(f.inflation()*f.inflation(), covariance)
	var factor mat.Cholesky
	var weighed mat.Dense
	if !factor.Factorize(covariance) || factor.SolveTo(&weighed, design) != nil {
		return c, false
	}
	c.photo = photo
	c.weights.Mul(design.T(), &weighed)
	c.value.MulVec(weighed.T(), mat.NewVecDense(n, values))
	if c.covariance.Inverse(&c.weights) != nil || c.value.SolveVec(&c.weights, &c.value) != nil {
		return c, false
	}
	return c, true
}

// along is how far the wheels went along a direction, whatever else moved, with its uncertainty.
func (c *change) along(direction *[changeNumbers]float64) (value, u float64) {
	d := mat.NewVecDense(changeNumbers, direction[:])
	return mat.Dot(d, &c.value), math.Sqrt(mat.Inner(d, &c.covariance, d))
}

// alone is how far they went along it if nothing else moved.
func (c *change) alone(direction *[changeNumbers]float64) (value, u float64) {
	d := mat.NewVecDense(changeNumbers, direction[:])
	weight, length := mat.Inner(d, &c.weights, d), mat.Dot(d, d)
	return length * mat.Inner(d, &c.weights, &c.value) / weight, length / math.Sqrt(weight)
}

// motion is something that can happen to the wheels between two photos.
type motion struct {
	direction [changeNumbers]float64
	// matters is the least that is worth a refusal, in mm or radians: what moves or
	// steers both wheels alike changes no toe.
	matters float64
	say     func(value float64) string
}

const (
	// rodsShowRad is what must give the alarm where edges had to be read another way than usual, or
	// two photos show wheels under mudguards: tie rods turned by 1° a wheel. Such photos, of wheels
	// that moved, were taken for one state by 5 mm of toe where it would not have.
	rodsShowRad     = 2 / degPerRad
	shiftMattersMm  = 5
	steerMattersRad = 0.5 / degPerRad // 0.03 mm of toe (DESIGN: 0.4 mm at 2°, with the square)
)

// toeBetween is how much more the wheels toe in.
var toeBetween = ofBoth(3, -1, 1)

// motions are asked for; what else could change would change one of them.
var motions = []motion{
	{ofBoth(0, 0.5, 0.5), shiftMattersMm, shifted("stand %.0f mm farther right", "stand %.0f mm farther left", 1)},
	{ofBoth(1, 0.5, 0.5), shiftMattersMm, shifted("stand %.0f mm farther forward", "stand %.0f mm farther back", 1)},
	{ofBoth(3, 0.5, 0.5), steerMattersRad, shifted("are steered %.1f° more to the left", "are steered %.1f° more to the right", degPerRad)},
	{ofBoth(0, -1, 1), 0, shifted("stand %.1f mm farther apart", "stand %.1f mm closer together", 1)},
	{ofBoth(1, -1, 1), shiftMattersMm, shifted("stand turned, the right one %.0f mm farther forward", "stand turned, the right one %.0f mm farther back", 1)},
	{toeBetween, 0, shifted("have %.1f° more toe-in between them", "have %.1f° less toe-in between them", degPerRad)},
}

// ofBoth is the sum of one number of both wheels' changes with these factors.
func ofBoth(number int, left, right float64) (d [changeNumbers]float64) {
	d[number], d[changeUnknowns+number] = left, right
	return d
}

func shifted(more, less string, unit float64) func(float64) string {
	return func(value float64) string {
		if value < 0 {
			return fmt.Sprintf(less, -value*unit)
		}
		return fmt.Sprintf(more, value*unit)
	}
}
