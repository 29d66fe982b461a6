package vision

import (
	"fmt"
	"math"
	"time"

	"rimpair/calib"
)

// This file finds a chessboard. OpenCV, on a copy no larger than it needs, proposes
// where the inner corners are; each is then fitted on the photo itself as a sheet's
// corner is, about the directions in which its neighbours lie.

const (
	// chessLookPx is the length of the copy's longer side. A board that is worth
	// calibrating with has squares of 30 px and more on it, and OpenCV needs a third of
	// that. Its time grows faster than the picture's area.
	chessLookPx = 1280.0
	// chessLookTime: where a photo is full of gravel or leaves, it may take minutes.
	chessLookTime = 10 * time.Second
)

// chessArmShare is how much of a square a corner's window reaches over: half would
// meet the next corner's blur.
const chessArmShare = 0.4

const (
	chessLeastArmPx = 3.0
	// chessLeastShare of the corners must be found for the board to count: a hand
	// over an edge costs little, more than that is no board.
	chessLeastShare = 0.8
)

// FindChessboard returns the inner corners of a chessboard in a photo, their Sheet 0,
// numbered row by row. The error is a *Refusal.
func FindChessboard(g *Gray, board calib.Chessboard) ([]Corner, error) {
	proposed, err := proposeChessboard(g, board)
	if err != nil {
		return nil, err
	}
	var corners []Corner
	for i := range proposed {
		if f, ok := fitChessCorner(g, board, proposed, i); ok {
			corners = append(corners, Corner{
				Index: i, X: f.at.X, Y: f.at.Y, SigmaPx: standardUncertainty(f.sigma), BlurPx: f.blur,
			})
		}
	}
	if float64(len(corners)) < chessLeastShare*float64(board.Corners()) {
		return nil, noChessboard(board)
	}
	return corners, nil
}

func noChessboard(board calib.Chessboard) *Refusal {
	return &Refusal{
		Code:   "no_chessboard",
		Reason: fmt.Sprintf("No chessboard of %d by %d inner corners is seen whole and sharp in the photo.", board.Columns, board.Rows),
		Remedy: "Count the inner corners again (one fewer than squares each way), and take the photo so that the whole board with a white rim is sharp in it.",
	}
}

// proposeChessboard is where OpenCV sees the corners, to a pixel or two.
func proposeChessboard(g *Gray, board calib.Chessboard) ([]calib.Point, error) {
	if min(g.Width, g.Height) < smallestPx {
		return nil, noChessboard(board)
	}
	scale := min(1, chessLookPx/float64(max(g.Width, g.Height)))
	slow := &Refusal{
		Code:   "too_slow",
		Reason: fmt.Sprintf("No chessboard was found in the photo within %v.", chessLookTime),
		Remedy: "Take it before a plain background: gravel, leaves and patterned cloth take long to search.",
	}
	points, err := withinTime(chessLookTime, slow, func() ([]calib.Point, error) {
		return findChessCorners(g, scale, board.Columns, board.Rows)
	})
	if err == nil && len(points) == 0 {
		err = noChessboard(board)
	}
	return points, err
}

// fitChessCorner fits corner i, from where all corners were proposed.
func fitChessCorner(g *Gray, board calib.Chessboard, at []calib.Point, i int) (crossingFit, bool) {
	column, row := i%board.Columns, i/board.Columns
	across := stepAlong(at, i, 1, column, board.Columns)
	up := stepAlong(at, i, -board.Columns, board.Rows-1-row, board.Rows)
	size := math.Min(math.Hypot(across.X, across.Y), math.Hypot(up.X, up.Y))
	armPx := math.Min(chessArmShare*size, maxArmPx)
	if armPx < chessLeastArmPx {
		return crossingFit{}, false
	}
	// The window's unit is its own half-width, far within a sheet's gap round a
	// marker: there is no marker here to keep clear of.
	arm := armPx / size
	c := crossing{at: at[i], axes: [4]float64{arm * across.X, arm * up.X, arm * across.Y, arm * up.Y}, armMm: 1}
	c.brightFirst = brightAhead(g, at[i], across, up)
	f, ok := g.fitCrossing(c)
	if ok && distance(f.at, c.at) > againPx {
		c.at = f.at
		f, ok = g.fitCrossing(c)
	}
	return f, ok && f.contrast > minContrast && f.misfit < misfitGreatest && f.turn < maxTurnRad && distance(f.at, at[i]) < armPx
}

// stepAlong is the way from corner i to the next one along a line of n corners, of
// which i is number k: the mean of the ways to both neighbours where it has two.
func stepAlong(at []calib.Point, i, stride, k, n int) calib.Point {
	from, to := i, i
	if k > 0 {
		from -= stride
	}
	if k < n-1 {
		to += stride
	}
	parts := float64((to - from) / stride)
	return calib.Point{X: (at[to].X - at[from].X) / parts, Y: (at[to].Y - at[from].Y) / parts}
}

// brightAhead says whether the quarter between the two directions is brighter than
// the one beside it.
func brightAhead(g *Gray, at, across, up calib.Point) bool {
	var sum float64
	for _, s := range [4][2]float64{{1, 1}, {-1, -1}, {1, -1}, {-1, 1}} {
		x := at.X + chessArmShare/2*(s[0]*across.X+s[1]*up.X)
		y := at.Y + chessArmShare/2*(s[0]*across.Y+s[1]*up.Y)
		px, py := int(math.Round(x)), int(math.Round(y))
		if px < 0 || py < 0 || px >= g.Width || py >= g.Height {
			continue
		}
		sum += s[0] * s[1] * float64(g.At(px, py))
	}
	return sum > 0
}
