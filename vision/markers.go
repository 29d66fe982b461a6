package vision

import (
	"math"

	"rimpair/calib"
)

// Where markers lie on a sheet, which of those found agree with each other, and at
// which sizes of the picture they are looked for.

const (
	// finePx is the length of the picture's longer side at which markers are looked
	// for finely, and half of it coarsely. OpenCV's detector takes 0.4 s for 12
	// megapixels with its three thresholds; the coarse look takes a tenth of that, the
	// fine one, with one threshold, a third, and together they miss 1 marker in 100.
	finePx     = 4000.0
	fineWindow = 13
	// maxEnlarge: a small copy is enlarged, since a marker's cells must be some
	// pixels wide for the detector; more than twice shows nothing new.
	maxEnlarge = 2.0
	// sureMarkers on a sheet are plenty to predict its corners from.
	sureMarkers = 4
	// sureSheets seen surely at the coarse look make the fine one needless.
	sureSheets = 2
	// smallestPx is the least side of a picture that OpenCV's detector works on.
	smallestPx = 64
)

// proposeMarkers looks coarsely first, and finely unless that was plenty: so many sheets
// as are enough.
func proposeMarkers(g *Gray, enough int) ([]marker, error) {
	fine := fineScale(max(g.Width, g.Height))
	markers, err := findMarkers(g, fine/2, 0)
	if err != nil || plenty(markers, enough) {
		return markers, err
	}
	more, err := findMarkers(g, fine, fineWindow)
	return append(markers, more...), err
}

// fineScale is the scale for the fine look at a picture of the given length: 1 for
// all usual phone photos.
func fineScale(length int) float64 {
	scale := finePx / float64(length)
	if 0.75 < scale && scale < 1.5 {
		return 1
	}
	return math.Min(scale, maxEnlarge)
}

// plenty says that enough sheets are seen, and all of these surely.
func plenty(markers []marker, enough int) bool {
	sheets := 0
	for sheet := 1; sheet <= calib.MaxSheets; sheet++ {
		n := distinct(markersOf(sheet, markers))
		if n > 0 && n < sureMarkers {
			return false
		}
		sheets += min(n, 1)
	}
	return sheets >= enough
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

// distinct counts the markers' different numbers.
func distinct(markers []marker) int {
	ids := map[int]bool{}
	for _, m := range markers {
		ids[m.id] = true
	}
	return len(ids)
}

// markerCorners returns where the corners of a sheet's marker number index (from 0)
// lie on it, clockwise from the marker's top left. Markers fill the white squares
// row by row from the top.
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

// agreeing returns the largest set of a sheet's markers that one homography
// explains, from all pairs of them, and the rest.
func agreeing(sheet int, markers []marker) (in, rest []marker) {
	for i := range markers {
		for j := range i {
			if markers[i].id == markers[j].id {
				continue
			}
			h, ok := fitMarkers(sheet, []marker{markers[i], markers[j]})
			if !ok {
				continue
			}
			var fitting, other []marker
			for _, m := range markers {
				if fits(sheet, m, &h) {
					fitting = append(fitting, m)
				} else {
					other = append(other, m)
				}
			}
			if len(fitting) > len(in) {
				in, rest = fitting, other
			}
		}
	}
	return in, rest
}

func fitMarkers(sheet int, markers []marker) (homography, bool) {
	var plane, picture []calib.Point
	var weight []float64
	for _, m := range markers {
		for k, p := range markerCorners(m.id - calib.FirstMarker(sheet)) {
			plane, picture, weight = append(plane, p), append(picture, m.corners[k]), append(weight, 1)
		}
	}
	return fitHomography(plane, picture, weight)
}

// fits says whether a marker lies where h puts it: within a third of its size,
// since a homography from two markers is rough far from them.
func fits(sheet int, m marker, h *homography) bool {
	size := math.Hypot(m.corners[0].X-m.corners[2].X, m.corners[0].Y-m.corners[2].Y)
	for k, c := range markerCorners(m.id - calib.FirstMarker(sheet)) {
		p := h.apply(c)
		if !(math.Hypot(p.X-m.corners[k].X, p.Y-m.corners[k].Y) < size/3) {
			return false
		}
	}
	return true
}
