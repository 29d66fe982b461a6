package vision

import (
	"math"

	"rimpair/calib"
)

// This file looks for sheets beside the one that was found. Lying far off on the same floor
// they are seen so flat that the cells of their markers are a pixel or two high, which a marker
// detector does not read but an eye does. The found sheet tells how the floor lies, and the floor
// seen from straight above (a homography) has markers as large and as square as they are printed.

const (
	// floorPxPerMm makes a cell of a marker 4.5 px wide.
	floorPxPerMm = 1.0
	// floorReachMm is how far from the found sheet others are looked for: on the plan they lie
	// 0.6 m beside and 0.8 m behind each other.
	floorReachMm = 1250.0
	floorStepMm  = 50.0
	// leastFloorPx is how many pixels of the photo a mm² of the floor has at least where a marker
	// can be read, and flatPxPerMm how many a mm has, the way it is seen flattest, where the
	// photo itself shows cells too flat to be read: 2 px.
	leastFloorPx = 0.1
	flatPxPerMm  = 0.5
)

// findBeside looks for markers on the floor around a sheet of which these corners were found.
func findBeside(g *Gray, found []Corner) ([]marker, error) {
	var plane, picture []calib.Point
	var weight []float64
	for _, c := range found {
		plane, picture, weight = append(plane, cornerPoint(c.Index)), append(picture, calib.Point{X: c.X, Y: c.Y}), append(weight, 1)
	}
	h, ok := fitHomography(plane, picture, weight)
	if !ok {
		return nil, nil
	}
	low, high, ok := floorSeen(g, &h)
	if !ok {
		return nil, nil
	}
	// From pixels to millimetres, y upward.
	h = h.mul(&homography{{1 / floorPxPerMm, 0, low.X}, {0, -1 / floorPxPerMm, high.Y}, {0, 0, 1}})
	size := func(mm float64) int { return int(math.Ceil(mm * floorPxPerMm)) }
	return findMappedMarkers(g, &h, size(high.X-low.X), size(high.Y-low.Y), fineWindow)
}

// floorSeen is the rectangle around a sheet, in its plane, in which the photo shows the floor large
// enough, but too flat.
func floorSeen(g *Gray, h *homography) (low, high calib.Point, ok bool) {
	low, high = calib.Point{X: math.Inf(1), Y: math.Inf(1)}, calib.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	front := h[2][2] // the sign of what is before the camera
	for x := -floorReachMm; x <= floorReachMm; x += floorStepMm {
		for y := -floorReachMm; y <= floorReachMm; y += floorStepMm {
			p := calib.Point{X: x, Y: y}
			q := h.apply(p)
			before := (h[2][0]*x+h[2][1]*y+h[2][2])*front > 0
			inside := q.X > 0 && q.Y > 0 && q.X < float64(g.Width) && q.Y < float64(g.Height)
			least, most := h.scalesAt(p)
			if before && inside && least*most > leastFloorPx && least < flatPxPerMm {
				low.X, low.Y, high.X, high.Y = min(low.X, x), min(low.Y, y), max(high.X, x), max(high.Y, y)
			}
		}
	}
	return low, high, low.X < high.X && low.Y < high.Y
}
