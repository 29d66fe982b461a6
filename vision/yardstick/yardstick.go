// Package yardstick does with OpenCV alone what any program for photos with markers has to do.
// Nothing uses what it finds: the time of rimpair's own work is compared with its time. It is a
// package of its own so that no other program loads what OpenCV decodes photos with.
package yardstick

/*
#cgo pkg-config: opencv4
#cgo CXXFLAGS: -std=c++17 -O2
#cgo LDFLAGS: -Wl,--as-needed
#include "opencv.h"
*/
import "C"

import (
	"errors"
	"os"
	"unsafe"

	"rimpair/calib"
)

// Markers decodes a photo to grey and runs OpenCV's marker detector over it at full size, once,
// with OpenCV's three thresholds. It returns how many markers that finds.
func Markers(path string) (int, error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return 0, err
	}
	n := C.rimpair_opencv_markers(bytesOf(file), C.size_t(len(file)))
	if n < 0 {
		return 0, errors.New("yardstick: OpenCV's marker detector failed")
	}
	return int(n), nil
}

// minCorners are those of a sheet from which on a view of it counts.
const minCorners = 6

// Calibrate calibrates a camera from photos of reference sheets by OpenCV's own pipeline: decode,
// markers and interpolated corners at full size, calibrateCamera. It returns the RMS of the
// residuals of both coordinates.
func Calibrate(paths []string) (rmsPx float64, err error) {
	var counts []C.int
	var boardX, boardY, x, y []C.float
	var width, height C.int
	for _, path := range paths {
		file, err := os.ReadFile(path)
		if err != nil {
			return 0, err
		}
		var found, index [calib.MaxSheets * calib.SheetCorners]C.int
		var px, py [calib.MaxSheets * calib.SheetCorners]C.float
		if C.rimpair_opencv_sheets(bytesOf(file), C.size_t(len(file)), &width, &height, calib.SheetColumns, calib.SheetRows,
			calib.MaxSheets, calib.SheetMarkers, &found[0], &index[0], &px[0], &py[0]) != 0 {
			return 0, errors.New("yardstick: OpenCV's board detector failed")
		}
		k := 0
		for sheet := range calib.MaxSheets {
			from, n := k, int(found[sheet])
			if k += n; n < minCorners {
				continue
			}
			counts = append(counts, found[sheet])
			for i := from; i < k; i++ {
				at := calib.CornerMm(int(index[i]))
				boardX, boardY = append(boardX, C.float(at.X)), append(boardY, C.float(at.Y))
				x, y = append(x, px[i]), append(y, py[i])
			}
		}
	}
	if len(counts) == 0 {
		return 0, errors.New("yardstick: no sheet in any photo")
	}
	rms := float64(C.rimpair_opencv_calibrate(C.int(len(counts)), &counts[0], &boardX[0], &boardY[0], &x[0], &y[0], width, height))
	if rms < 0 {
		return 0, errors.New("yardstick: OpenCV's calibration failed")
	}
	return rms, nil
}

func bytesOf(b []byte) *C.uchar { return (*C.uchar)(unsafe.Pointer(&b[0])) }
