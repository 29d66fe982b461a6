package calib

import "gonum.org/v1/gonum/spatial/r3"

// Chessboard is a printed pattern of black and white squares, known by its inner
// corners: one fewer than squares each way.
type Chessboard struct {
	Columns, Rows int
	SquareMm      float64
}

// Corners is how many inner corners there are.
func (b Chessboard) Corners() int { return b.Columns * b.Rows }

// CornerMm returns where inner corner i (row by row from the top left) lies: origin
// at the corners' middle, x to the right, y to the top.
func (b Chessboard) CornerMm(i int) r3.Vec {
	column, row := i%b.Columns, i/b.Columns
	return r3.Vec{
		X: (float64(column) - float64(b.Columns-1)/2) * b.SquareMm,
		Y: (float64(b.Rows-1)/2 - float64(row)) * b.SquareMm,
	}
}
