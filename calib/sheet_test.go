package calib

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"
)

// OpenCV's CharucoBoard numbers the inner corners row by row from the board's top
// left (opencv2/aruco/charuco.hpp: "chessboardCorners").
func TestCornersAreNumberedLikeOpenCVs(t *testing.T) {
	tests := []struct {
		index int
		place r3.Vec
	}{
		{0, r3.Vec{X: -54, Y: 90}},
		{1, r3.Vec{X: -18, Y: 90}},
		{CornerColumns - 1, r3.Vec{X: 54, Y: 90}},
		{CornerColumns, r3.Vec{X: -54, Y: 54}},
		{SheetCorners - 1, r3.Vec{X: 54, Y: -90}},
	}
	for _, test := range tests {
		assert.Equal(t, test.place, CornerMm(test.index), "corner %d", test.index)
	}
}

func TestCornersLieAroundTheMiddle(t *testing.T) {
	var sum r3.Vec
	for i := range SheetCorners {
		opposite := CornerMm(SheetCorners - 1 - i)
		assert.Equal(t, CornerMm(i), r3.Scale(-1, opposite))
		sum = r3.Add(sum, CornerMm(i))
	}
	assert.Equal(t, r3.Vec{}, sum)
}

func TestEverySheetHasItsOwnMarkers(t *testing.T) {
	// Every other square is white, the corners black.
	assert.Equal(t, SheetColumns*SheetRows/2, SheetMarkers)
	for n := 1; n < MaxSheets; n++ {
		assert.Equal(t, FirstMarker(n)+SheetMarkers, FirstMarker(n+1))
	}
	assert.Equal(t, 0, FirstMarker(1))
	assert.LessOrEqual(t, FirstMarker(MaxSheets)+SheetMarkers, 100, "DICT_4X4_100 has no more")
}
