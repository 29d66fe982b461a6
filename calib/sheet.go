package calib

import "gonum.org/v1/gonum/spatial/r3"

// The reference sheet: a ChArUco board of SheetColumns × SheetRows squares.
const (
	SheetColumns  = 5
	SheetRows     = 7
	SquareMm      = 36.0
	MarkerMm      = 27.0
	RulerMm       = 100 // length of the printed rulers
	SheetMarkers  = 17  // markers on one sheet
	MaxSheets     = 5
	CornerColumns = SheetColumns - 1
	CornerRows    = SheetRows - 1
	SheetCorners  = CornerColumns * CornerRows
)

// CornerMm returns where inner corner i (row by row from the page's top left, as
// in OpenCV) lies on a sheet printed at exactly 100 %: origin at the board's
// centre, x to the page's right, y to its top.
func CornerMm(i int) r3.Vec {
	column, row := i%CornerColumns, i/CornerColumns
	return r3.Vec{
		X: (float64(column+1) - SheetColumns/2.0) * SquareMm,
		Y: (SheetRows/2.0 - float64(row+1)) * SquareMm,
	}
}

// FirstMarker is the lowest marker id on sheet number n (1 to MaxSheets).
func FirstMarker(n int) int { return SheetMarkers * (n - 1) }
