package vision

/*
#cgo pkg-config: opencv4
#cgo CXXFLAGS: -std=c++17 -O2
#cgo LDFLAGS: -Wl,--as-needed
#include "opencv.h"
*/
import "C"

import (
	"errors"
	"unsafe"

	"rimpair/calib"
)

// marker is one marker found in a photo: its number in the dictionary, and its
// corners clockwise from its own top left.
type marker struct {
	id      int
	corners [4]calib.Point
}

// maxMarkers is more than the markers of all sheets together (85), to have room
// for false ones.
const maxMarkers = 256

// findMarkers looks for markers in the picture resized by a scale, with one
// adaptive threshold of the given window (px, odd), or OpenCV's three for window 0.
// The markers' places are in the picture as it is.
func findMarkers(g *Gray, scale float64, window int) ([]marker, error) {
	return markersFrom(func(out *C.rimpair_marker) C.int {
		return C.rimpair_find_markers(bytesOf(g.Pix), C.int(g.Width), C.int(g.Height),
			C.double(scale), C.int(window), out, maxMarkers)
	})
}

// findMappedMarkers is findMarkers in a picture of the given size of which h says from where
// in the picture its pixels are. The markers' places are in the picture as it is.
func findMappedMarkers(g *Gray, h *homography, width, height, window int) ([]marker, error) {
	var rows [9]C.double
	for i := range rows {
		rows[i] = C.double(h[i/3][i%3])
	}
	return markersFrom(func(out *C.rimpair_marker) C.int {
		return C.rimpair_find_mapped_markers(bytesOf(g.Pix), C.int(g.Width), C.int(g.Height),
			&rows[0], C.int(width), C.int(height), C.int(window), out, maxMarkers)
	})
}

// markersFrom are those that a call of OpenCV finds.
func markersFrom(find func(out *C.rimpair_marker) C.int) ([]marker, error) {
	var found [maxMarkers]C.rimpair_marker
	n := find(&found[0])
	if n < 0 {
		return nil, errors.New("vision: OpenCV's marker detector failed")
	}
	markers := make([]marker, n)
	for i := range markers {
		markers[i].id = int(found[i].id)
		for k := range markers[i].corners {
			markers[i].corners[k] = calib.Point{X: float64(found[i].x[k]), Y: float64(found[i].y[k])}
		}
	}
	return markers, nil
}

// findChessCorners looks for the inner corners of a chessboard in the picture resized
// by a scale; none when the board is not seen whole. Their places are in the picture
// as it is.
func findChessCorners(g *Gray, scale float64, columns, rows int) ([]calib.Point, error) {
	n := columns * rows
	x, y := make([]float32, n), make([]float32, n)
	found := C.rimpair_find_chessboard(bytesOf(g.Pix), C.int(g.Width), C.int(g.Height),
		C.double(scale), C.int(columns), C.int(rows), (*C.float)(&x[0]), (*C.float)(&y[0]))
	if found < 0 {
		return nil, errors.New("vision: OpenCV's chessboard detector failed")
	}
	if found == 0 {
		return nil, nil
	}
	points := make([]calib.Point, n)
	for i := range points {
		points[i] = calib.Point{X: float64(x[i]), Y: float64(y[i])}
	}
	return points, nil
}

func bytesOf(b []byte) *C.uchar { return (*C.uchar)(unsafe.Pointer(&b[0])) }
