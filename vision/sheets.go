package vision

import (
	"math"
	"sort"

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

// FindSheets returns the inner corners of all reference sheets in a photo. The
// error is a *Refusal when there is no sheet.
func FindSheets(g *Gray) ([]Corner, error) {
	markers, err := proposeMarkers(g)
	if err != nil {
		return nil, err
	}
	var all []Corner
	for sheet := 1; sheet <= calib.MaxSheets; sheet++ {
		all = append(all, findSheet(g, sheet, markersOf(sheet, markers))...)
	}
	if len(all) == 0 {
		return nil, &Refusal{
			Code:   "no_sheet",
			Reason: "No reference sheet is seen in the photo.",
			Remedy: "Lay the printed sheets flat on the floor as the plan shows, and take the photo so that at least one of them is whole and sharp in it.",
		}
	}
	return all, nil
}

// enoughMarkers on one sheet make a look at the full picture needless.
const enoughMarkers = 8

// proposeMarkers looks at half size first, which takes a tenth of the time, and at
// full size when that leaves a sheet with few markers.
func proposeMarkers(g *Gray) ([]marker, error) {
	if g.Width < 64 || g.Height < 64 {
		return nil, nil
	}
	half, err := findMarkers(g, 2)
	if err != nil {
		return nil, err
	}
	seen, sure := 0, 0
	for sheet := 1; sheet <= calib.MaxSheets; sheet++ {
		n := len(markersOf(sheet, half))
		if n > 0 {
			seen++
		}
		if n >= enoughMarkers {
			sure++
		}
	}
	if seen > 0 && seen == sure {
		return half, nil
	}
	full, err := findMarkers(g, 1)
	return append(full, half...), err
}

func markersOf(sheet int, all []marker) []marker {
	var mine []marker
	first := calib.FirstMarker(sheet)
	for _, m := range all {
		if first <= m.id && m.id < first+calib.SheetMarkers {
			mine = append(mine, m)
		}
	}
	return mine
}

// markerCorners returns where a marker's corners lie on its sheet, clockwise from
// the top left. Markers fill the white squares row by row from the top.
func markerCorners(index int) [4]calib.Point {
	// Two rows hold 5 markers: 2 in the row that starts black, 3 in the next.
	row, k := index/5*2, index%5
	column := 2*k + 1
	if k >= 2 {
		row, column = row+1, 2*(k-2)
	}
	x := (float64(column) + 0.5 - calib.SheetColumns/2.0) * calib.SquareMm
	y := (calib.SheetRows/2.0 - float64(row) - 0.5) * calib.SquareMm
	const h = calib.MarkerMm / 2
	return [4]calib.Point{{X: x - h, Y: y + h}, {X: x + h, Y: y + h}, {X: x + h, Y: y - h}, {X: x - h, Y: y - h}}
}

// cornerPoint is calib.CornerMm in the sheet's plane.
func cornerPoint(i int) calib.Point {
	c := calib.CornerMm(i)
	return calib.Point{X: c.X, Y: c.Y}
}

// agreeing returns the largest set of markers that one homography explains, from
// all pairs of them.
func agreeing(sheet int, markers []marker) []marker {
	var best []marker
	for i := range markers {
		for j := range i {
			if markers[i].id == markers[j].id {
				continue
			}
			h, ok := fitMarkers(sheet, []marker{markers[i], markers[j]})
			if !ok {
				continue
			}
			var in []marker
			for _, m := range markers {
				if fits(sheet, m, &h) {
					in = append(in, m)
				}
			}
			if len(in) > len(best) {
				best = in
			}
		}
	}
	return best
}

func fitMarkers(sheet int, markers []marker) (homography, bool) {
	var plane, picture []calib.Point
	for _, m := range markers {
		c := markerCorners(m.id - calib.FirstMarker(sheet))
		plane = append(plane, c[:]...)
		picture = append(picture, m.corners[:]...)
	}
	return fitHomography(plane, picture, ones(len(plane)))
}

func ones(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	return w
}

// fits says whether a marker lies where h puts it: within a third of its size,
// since a homography from two markers is rough far from them.
func fits(sheet int, m marker, h *homography) bool {
	c := markerCorners(m.id - calib.FirstMarker(sheet))
	size := math.Hypot(m.corners[0].X-m.corners[2].X, m.corners[0].Y-m.corners[2].Y)
	for k := range c {
		p := h.apply(c[k])
		if !(math.Hypot(p.X-m.corners[k].X, p.Y-m.corners[k].Y) < size/3) {
			return false
		}
	}
	return true
}

// distinct counts the markers' different numbers.
func distinct(markers []marker) int {
	ids := map[int]bool{}
	for _, m := range markers {
		ids[m.id] = true
	}
	return len(ids)
}

// findSheet returns the corners of one sheet, none when it is not surely there.
func findSheet(g *Gray, sheet int, markers []marker) []Corner {
	markers = agreeing(sheet, markers)
	if distinct(markers) < minMarkers {
		return nil
	}
	s := sheetSearch{g: g, sheet: sheet, markers: markers}
	s.grow()
	s.dropOutliers()
	if len(s.found) < minCorners {
		return nil
	}
	var corners []Corner
	for i, f := range s.found {
		corners = append(corners, Corner{Sheet: sheet, Index: i, X: f.at.X, Y: f.at.Y, SigmaPx: f.sigma, BlurPx: f.blur})
	}
	sort.Slice(corners, func(i, j int) bool { return corners[i].Index < corners[j].Index })
	return corners
}

// sheetSearch grows a sheet's corners from its markers.
type sheetSearch struct {
	g       *Gray
	sheet   int
	markers []marker
	found   map[int]crossingFit // by corner index
}

const (
	// nearMm: a marker's own corners are 6.4 mm off the square's, the far ones of
	// the same square 38 mm.
	nearMm = 40.0
	// cornerWeight is a fitted corner's weight against a marker's corner, which is
	// good to about a pixel.
	cornerWeight = 50.0
)

// predict gives the homography near corner i that the markers and the corners
// found so far, without i itself, say; close neighbours count most.
func (s *sheetSearch) predict(i int, markerWeight float64) (homography, bool) {
	at := cornerPoint(i)
	var plane, picture []calib.Point
	var weight []float64
	add := func(p, q calib.Point, w float64) {
		d := math.Hypot(p.X-at.X, p.Y-at.Y) / calib.SquareMm
		plane, picture, weight = append(plane, p), append(picture, q), append(weight, w/(0.5+d*d))
	}
	if markerWeight > 0 {
		for _, m := range s.markers {
			for k, p := range markerCorners(m.id - calib.FirstMarker(s.sheet)) {
				add(p, m.corners[k], markerWeight)
			}
		}
	}
	for j, f := range s.found {
		if j != i {
			add(cornerPoint(j), f.at, cornerWeight)
		}
	}
	return fitHomography(plane, picture, weight)
}

// grow looks for corners from the nearest to what is known outward, until no more
// are found.
func (s *sheetSearch) grow() {
	s.found = map[int]crossingFit{}
	for reach := 1.0; reach < 8; {
		before := len(s.found)
		for i := range calib.SheetCorners {
			if _, done := s.found[i]; done || s.distance(i) > reach*nearMm {
				continue
			}
			h, ok := s.predict(i, 1)
			if !ok {
				continue
			}
			if f, ok := s.measure(i, &h); ok {
				s.found[i] = f
			}
		}
		if len(s.found) == before {
			reach++
		}
	}
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

const (
	maxMisfit  = 0.06
	maxTurnRad = 0.15
	maxShiftMm = 4.0 // from the prediction
)

// armsMm are the windows' half-widths tried on a corner, widest first: a wide one is
// steadier, a narrow one stays clear of what covers the board nearby. The next
// corner is 36 mm off.
var armsMm = []float64{10, 7, 5, 3.5}

// maxArmPx bounds the windows on a sheet that is very near.
const maxArmPx = 18

// measure fits corner i where h expects it and checks that it is a corner of the
// board: the right way round, clear, of the board's directions.
func (s *sheetSearch) measure(i int, h *homography) (crossingFit, bool) {
	p := cornerPoint(i)
	c := crossing{at: h.apply(p), axes: h.affineAt(p), brightFirst: brightFirst(i)}
	pxPerMm := math.Sqrt(math.Abs(c.axes[0]*c.axes[3] - c.axes[1]*c.axes[2]))
	expected := c.at
	for _, arm := range armsMm {
		c.at, c.armMm = expected, math.Min(arm, maxArmPx/pxPerMm)
		f, ok := s.g.fitCrossing(c)
		if ok && math.Hypot(f.at.X-c.at.X, f.at.Y-c.at.Y) > 0.5 {
			// Once more about the place found, so that the window lies evenly about it.
			c.at = f.at
			f, ok = s.g.fitCrossing(c)
		}
		if ok && f.contrast > minContrast && f.misfit < maxMisfit && f.turn < maxTurnRad &&
			math.Hypot(f.at.X-expected.X, f.at.Y-expected.Y) < maxShiftMm*pxPerMm {
			return f, true
		}
	}
	return crossingFit{}, false
}

// brightFirst says whether the square up and to the right of inner corner i is
// white: the top left square of the board is black.
func brightFirst(i int) bool {
	column, row := i%calib.CornerColumns, i/calib.CornerColumns
	return (column+1+row)%2 == 1
}

// dropOutliers takes out, one by one, the corner that lies farthest from where all
// others expect it.
func (s *sheetSearch) dropOutliers() {
	for len(s.found) >= minCorners {
		worst, excess := -1, 1.0
		for i, f := range s.found {
			h, ok := s.predict(i, 0)
			if !ok {
				continue
			}
			q := h.apply(cornerPoint(i))
			if e := math.Hypot(q.X-f.at.X, q.Y-f.at.Y) / 1.0; e > excess {
				worst, excess = i, e
			}
		}
		if worst < 0 {
			return
		}
		delete(s.found, worst)
	}
}
