package vision

/*
#include "opencv.h"
*/
import "C"

import (
	"errors"
	"os"

	"rimpair/calib"
)

// CameraYardstick calibrates a camera from photos of reference sheets by OpenCV's own
// pipeline, as any program could with it: decode, markers and interpolated corners at
// full size, calibrateCamera. It returns the RMS of the residuals of both coordinates.
// Nothing uses what it finds; the time of our calibration is compared with its time.
func CameraYardstick(paths []string) (rmsPx float64, err error) {
	var counts []C.int
	var boardX, boardY, x, y []C.float
	width, height := 0, 0
	for _, path := range paths {
		g, err := decodeFile(path)
		if err != nil {
			return 0, err
		}
		width, height = g.Width, g.Height
		var found, index [calib.MaxSheets * calib.SheetCorners]C.int
		var px, py [calib.MaxSheets * calib.SheetCorners]C.float
		if C.rimpair_opencv_sheets(bytesOf(g.Pix), C.int(width), C.int(height), calib.SheetColumns, calib.SheetRows,
			calib.MaxSheets, calib.SheetMarkers, &found[0], &index[0], &px[0], &py[0]) != 0 {
			return 0, errors.New("vision: OpenCV's board detector failed")
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
		return 0, errors.New("vision: no sheet in any photo")
	}
	rms := float64(C.rimpair_opencv_calibrate(C.int(len(counts)), &counts[0], &boardX[0], &boardY[0], &x[0], &y[0], C.int(width), C.int(height)))
	if rms < 0 {
		return 0, errors.New("vision: OpenCV's calibration failed")
	}
	return rms, nil
}

func decodeFile(path string) (*Gray, error) {
	file, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	h, err := readHeader(file)
	if err != nil {
		return nil, err
	}
	return decodeGrey(file, h.width, h.height)
}
