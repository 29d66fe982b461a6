package vision

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sort"

	"golang.org/x/sync/errgroup"

	"rimpair/calib"
)

// This file finds the reference sheets. Markers propose: they say which sheet it
// is and roughly where its corners are. The corners found next to them, fitted to
// the pixels, then predict the others, so that corners whose markers are hidden
// are found too, and lens distortion is followed from corner to corner.

const (
	minMarkers = 2 // on a sheet; one alone may be a misread pattern
	minCorners = 6
)

// FindSheets returns the inner corners of all reference sheets in a photo, in the
// order of sheets and of corners on them. The error is a *Refusal.
func FindSheets(g *Gray) ([]Corner, error) { return findSheets(g, sureSheets) }

// FindNearSheet is FindSheets for a photo of a sheet from near: it is content with one
// sheet that is clearly seen, and looks no closer for others.
func FindNearSheet(g *Gray) ([]Corner, error) { return findSheets(g, 1) }

func findSheets(g *Gray, enough int) ([]Corner, error) {
	if min(g.Width, g.Height) < smallestPx {
		return nil, noSheet()
	}
	markers, err := proposeMarkers(g, enough)
	if err != nil {
		return nil, err
	}
	corners, err := findEach(g, markers, [calib.MaxSheets][]Corner{})
	if err != nil {
		return nil, err
	}
	if one, ok := onlyOne(&corners); ok && enough > 1 {
		beside, err := findBeside(g, one)
		if err != nil {
			return nil, err
		}
		if corners, err = findEach(g, append(markers, beside...), corners); err != nil {
			return nil, err
		}
	}
	all := slices.Concat(corners[:]...)
	if len(all) == 0 {
		return nil, whyNone(g)
	}
	return all, nil
}

// findEach returns the corners of all sheets, of which some may be known.
func findEach(g *Gray, markers []marker, known [calib.MaxSheets][]Corner) ([calib.MaxSheets][]Corner, error) {
	var errs [calib.MaxSheets]error
	var group errgroup.Group
	for i := range known {
		if len(known[i]) > 0 {
			continue
		}
		group.Go(func() error {
			known[i], errs[i] = findOnce(g, i+1, markers)
			return nil
		})
	}
	_ = group.Wait() // the errors are in errs
	return known, cmp.Or(errs[:]...)
}

// onlyOne is the sheet that was found, if no other was.
func onlyOne(sheets *[calib.MaxSheets][]Corner) (one []Corner, ok bool) {
	for _, corners := range sheets {
		if len(corners) > 0 && ok {
			return nil, false
		}
		if len(corners) > 0 {
			one, ok = corners, true
		}
	}
	return one, ok
}

// findOnce returns the corners of one sheet, which may lie in the photo only once: of two
// prints, which one is meant cannot be told.
func findOnce(g *Gray, sheet int, markers []marker) ([]Corner, error) {
	in, rest := agreeing(sheet, markersOf(sheet, markers))
	if distinct(in) < minMarkers {
		return nil, nil
	}
	found := findSheet(g, sheet, in)
	if second, _ := agreeing(sheet, rest); len(found) > 0 && distinct(second) >= minMarkers && twoPrints(found, findSheet(g, sheet, second)) {
		return nil, twice(sheet)
	}
	return found, nil
}

// twoPrints says whether two prints of one sheet were found. Small markers far from each other may
// not agree, and lead to the same corners.
func twoPrints(a, b []Corner) bool {
	half := SquarePx(a, a[0].Sheet) / 2
	for _, p := range a {
		for _, q := range b {
			if p.Index == q.Index && math.Hypot(p.X-q.X, p.Y-q.Y) < half {
				return false
			}
		}
	}
	return len(b) > 0
}

func noSheet() *Refusal {
	return &Refusal{
		Code:   "no_sheet",
		Reason: "No reference sheet is seen in the photo.",
		Remedy: "Lay the printed sheets flat on the floor as the plan shows, and take the photo so that at least one of them is whole and sharp in it.",
	}
}

func twice(sheet int) *Refusal {
	return &Refusal{
		Code:   "sheet_twice",
		Reason: fmt.Sprintf("Sheet %d lies in the photo twice.", sheet),
		Remedy: "Use each sheet number once: print sheets 1 and 2.",
	}
}

// whyNone tells a blurred photo from one without a sheet.
func whyNone(g *Gray) error {
	if blur := sharpestBlurPx(g); blur > maxBlurPx(g) {
		return &Refusal{
			Code:   "too_blurred",
			Reason: fmt.Sprintf("No reference sheet can be read: even the sharpest edges of the photo are blurred over %.0f pixels.", 2*blur),
			Remedy: "Take the photo again with more light, held still, and tap on the sheet to focus.",
		}
	}
	return noSheet()
}

// findSheet returns the corners of one sheet, none when it is not surely there.
func findSheet(g *Gray, sheet int, markers []marker) []Corner {
	s := sheetSearch{g: g, sheet: sheet, markers: markers, found: map[int]crossingFit{}}
	s.seed()
	s.grow()
	s.dropOutliers()
	if len(s.found) < minCorners {
		return nil
	}
	var corners []Corner
	for i, f := range s.found {
		corners = append(corners, Corner{
			Sheet: sheet, Index: i, X: f.at.X, Y: f.at.Y,
			SigmaPx: standardUncertainty(f.sigma), BlurPx: f.blur,
		})
	}
	sort.Slice(corners, func(i, j int) bool { return corners[i].Index < corners[j].Index })
	return corners
}

// standardUncertainty widens what the fit says, which takes every pixel's noise for
// independent. Demosaicing, sharpening and JPEG correlate it over a few pixels, and
// uneven light and the pixel raster leave a little that no window averages away.
// Both numbers are from rendered photos with known corners, where they bring the
// variance of (corner − truth)/sigma to 1 and its largest value among 2400 to 3.4
// (TestCornersAgainstTruth). Paper that is not flat is not in it.
func standardUncertainty(fitted float64) float64 {
	const correlation, floorPx = 2.0, 0.018
	return math.Hypot(correlation*fitted, floorPx)
}

// sheetSearch grows a sheet's corners from its markers.
type sheetSearch struct {
	g         *Gray
	sheet     int
	markers   []marker
	found     map[int]crossingFit // by corner index
	maxMisfit float64
}

const (
	// nearMm is the distance from a marker or corner within which it predicts
	// well: a marker's own corners are 6.4 mm off the square's, a neighbour 36 mm.
	nearMm = 40.0
	// cornerWeight is a fitted corner's weight against a marker's corner, which is
	// good to about a pixel.
	cornerWeight = 50.0
)

// cornerPoint is calib.CornerMm in the sheet's plane.
func cornerPoint(i int) calib.Point {
	c := calib.CornerMm(i)
	return calib.Point{X: c.X, Y: c.Y}
}

// brightFirst says whether the square up and to the right of inner corner i is
// white: the top left square of the board is black.
func brightFirst(i int) bool {
	column, row := i%calib.CornerColumns, i/calib.CornerColumns
	return (column+1+row)%2 == 1
}

// predict gives the homography near corner i that the markers and the corners
// found so far, without i itself, say; close neighbours count most.
func (s *sheetSearch) predict(i int) (homography, bool) {
	at := cornerPoint(i)
	var plane, picture []calib.Point
	var weight []float64
	add := func(p, q calib.Point, w float64) {
		d := math.Hypot(p.X-at.X, p.Y-at.Y) / calib.SquareMm
		plane, picture, weight = append(plane, p), append(picture, q), append(weight, w/(0.5+d*d))
	}
	for _, m := range s.markers {
		for k, p := range markerCorners(m.id - calib.FirstMarker(s.sheet)) {
			add(p, m.corners[k], 1)
		}
	}
	for j := range calib.SheetCorners {
		if f, ok := s.found[j]; ok && j != i {
			add(cornerPoint(j), f.at, cornerWeight)
		}
	}
	return fitHomography(plane, picture, weight)
}

// distance from corner i to the nearest thing known on the sheet, mm.
func (s *sheetSearch) distance(i int) float64 {
	at, nearest := cornerPoint(i), math.Inf(1)
	closer := func(p calib.Point) { nearest = math.Min(nearest, math.Hypot(p.X-at.X, p.Y-at.Y)) }
	for _, m := range s.markers {
		for _, p := range markerCorners(m.id - calib.FirstMarker(s.sheet)) {
			closer(p)
		}
	}
	for j := range s.found {
		closer(cornerPoint(j))
	}
	return nearest
}

// Limits of a corner's misfit. On one sheet in one photo, the misfit of 19 in 20
// clean corners lies within 1.2 times the lower quartile, whatever noise and
// sharpening the camera adds; what covers part of the window raises it far more.
const (
	misfitRatio    = 1.4
	misfitLeast    = 0.02 // no camera is so good that this would be suspicious
	misfitGreatest = 0.15 // nothing to be seen of a corner
)

// seed finds the corners beside markers, and by them the misfit that a clean corner
// of this sheet may have.
func (s *sheetSearch) seed() {
	s.maxMisfit = misfitGreatest
	var fits [calib.SheetCorners]*crossingFit
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for i := range fits {
		if s.distance(i) > nearMm/2 {
			continue
		}
		group.Go(func() error {
			if h, ok := s.predict(i); ok {
				if f, ok := s.measure(i, &h); ok {
					fits[i] = &f
				}
			}
			return nil
		})
	}
	_ = group.Wait() // no call fails
	var misfits []float64
	for _, f := range fits {
		if f != nil {
			misfits = append(misfits, f.misfit)
		}
	}
	if len(misfits) == 0 {
		return
	}
	sort.Float64s(misfits)
	s.maxMisfit = math.Min(math.Max(misfitRatio*misfits[len(misfits)/4], misfitLeast), misfitGreatest)
	for i, f := range fits {
		if f != nil && f.misfit < s.maxMisfit {
			s.found[i] = *f
		}
	}
}

// grow looks for corners from the nearest to what is known outward, until no more
// are found.
func (s *sheetSearch) grow() {
	const boardDiagonal = calib.SquareMm * calib.SheetRows
	failed := map[int]calib.Point{} // where corners were looked for in vain
	for reach := nearMm; reach < boardDiagonal; {
		before := len(s.found)
		for i := range calib.SheetCorners {
			if _, done := s.found[i]; done || s.distance(i) > reach {
				continue
			}
			h, ok := s.predict(i)
			if !ok {
				continue
			}
			expected := h.apply(cornerPoint(i))
			if at, tried := failed[i]; tried && distance(at, expected) < againPx {
				continue
			}
			if f, ok := s.measure(i, &h); ok {
				s.found[i] = f
			} else {
				failed[i] = expected
			}
		}
		if len(s.found) == before {
			reach += nearMm
		}
	}
}

const (
	maxTurnRad = 0.15 // from the board's directions
	maxShiftMm = 4.0  // from the prediction
	// againPx: a window farther off its corner than this is moved there, and a corner
	// expected farther than this from where it was not found is looked for again.
	againPx = 0.5
	// maxArmPx bounds the windows on a sheet that is very near.
	maxArmPx = 18.0
)

// armsMm are the windows' half-widths tried on a corner, widest first: a wide one is
// steadier, a narrow one stays clear of what covers the board nearby. The next
// corner is 36 mm off.
func armsMm() []float64 { return []float64{10, 7, 5, 3.5} }

// measure fits corner i where h expects it and checks that it is a corner of the
// board: the right way round, clear, of the board's directions.
func (s *sheetSearch) measure(i int, h *homography) (crossingFit, bool) {
	p := cornerPoint(i)
	c := crossing{axes: h.affineAt(p), brightFirst: brightFirst(i)}
	pxPerMm := h.scaleAt(p)
	expected := h.apply(p)
	for _, arm := range armsMm() {
		c.at, c.armMm = expected, math.Min(arm, maxArmPx/pxPerMm)
		f, ok := s.g.fitCrossing(c)
		if ok && distance(f.at, c.at) > againPx {
			// Once more about the place found, so that the window lies evenly about it.
			c.at = f.at
			f, ok = s.g.fitCrossing(c)
		}
		if ok && f.contrast > minContrast && f.misfit < s.maxMisfit && f.turn < maxTurnRad &&
			distance(f.at, expected) < maxShiftMm*pxPerMm {
			return f, true
		}
	}
	return crossingFit{}, false
}

func distance(p, q calib.Point) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }

// Limits of a corner's distance from where all others expect it: lens distortion
// and paper that is not flat move it by up to a hundredth of a square, and where
// few corners are found the markers, good to a pixel, must help.
const (
	strayPx    = 1.0
	strayShare = 0.02 // of a square
)

// dropOutliers takes out, one by one, the corner that lies farthest from where the
// others expect it.
func (s *sheetSearch) dropOutliers() {
	for len(s.found) >= minCorners {
		worst, excess := -1, 1.0
		for i, f := range s.found {
			h, ok := s.predict(i)
			if !ok {
				continue
			}
			p := cornerPoint(i)
			square := calib.SquareMm * h.scaleAt(p)
			if e := distance(h.apply(p), f.at) / (strayPx + strayShare*square); e > excess {
				worst, excess = i, e
			}
		}
		if worst < 0 {
			return
		}
		delete(s.found, worst)
	}
}

// SquarePx is the size of a sheet's squares in the photo: the median distance of
// neighbouring corners, 0 when there are none. Squares of 40 px and more are wanted.
func SquarePx(corners []Corner, sheet int) float64 {
	var gaps []float64
	for _, a := range corners {
		for _, b := range corners {
			if a.Sheet != sheet || b.Sheet != sheet {
				continue
			}
			p, q := cornerPoint(a.Index), cornerPoint(b.Index)
			if a.Index < b.Index && distance(p, q) < 1.1*calib.SquareMm {
				gaps = append(gaps, math.Hypot(a.X-b.X, a.Y-b.Y))
			}
		}
	}
	return median(gaps)
}

// BlurPx is how blurred the sheets are in the photo: the median standard deviation
// of the blur across their edges. A sharp phone photo has 0.7 to 1.4.
func BlurPx(corners []Corner) float64 {
	var blurs []float64
	for _, c := range corners {
		blurs = append(blurs, c.BlurPx)
	}
	return median(blurs)
}

// median returns 0 for no values.
func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sort.Float64s(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}
