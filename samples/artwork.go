package samples

import (
	"math"

	"rimpair/calib"
)

// The reference sheet's print, drawn from the design and from OpenCV's dictionary
// alone: a mistake in the sheet that calib prints would show as sheets not found.

// markerBits are the first 85 markers of OpenCV's DICT_4X4_100 (read with
// cv::aruco::drawMarker): 4 rows of 4 cells from the top left, 1 for white.
var markerBits = [calib.SheetMarkers * calib.MaxSheets]uint16{
	0xb532, 0x0f9a, 0x332d, 0x9946, 0x549e, 0x79cd, 0x9e2e, 0xc4f2, 0xfeda, 0xcf56, 0xf991, 0x11a7,
	0x0eb7, 0x2a0f, 0x24b1, 0x263e, 0x4665, 0x6600, 0x6c5e, 0x76af, 0x868b, 0xb02b, 0xccd5, 0xdd82,
	0xfe47, 0x9471, 0xace4, 0xa554, 0x2123, 0x346f, 0x4415, 0x57b2, 0x9ecf, 0xf0cb, 0x08ae, 0x0929,
	0x1875, 0x04ff, 0x0df6, 0x1c5a, 0x1718, 0x2a28, 0x328c, 0x38b2, 0x24e8, 0x2eeb, 0x2d3f, 0x4b64,
	0x502e, 0x5013, 0x5194, 0x5568, 0x5d41, 0x5f97, 0x6801, 0x6867, 0x6124, 0x61e9, 0x6b12, 0x6fe5,
	0x67df, 0x7e1b, 0x80a0, 0x8344, 0x8ba2, 0x937a, 0x846c, 0x852a, 0x859c, 0x9c89, 0x9fa1, 0xbb7c,
	0xbc04, 0xb65b, 0xbfc8, 0xb7ab, 0xca1f, 0xc962, 0xd958, 0xd3d5, 0xcc98, 0xc7a0, 0xc537, 0xe95d, 0xf925,
}

// inked says whether the print is black at a place of the sheet's own frame.
func (s Sheet) inked(x, y float64) bool {
	const halfWidth, halfHeight = calib.SheetColumns * calib.SquareMm / 2, calib.SheetRows * calib.SquareMm / 2
	if math.Abs(x) >= halfWidth || math.Abs(y) >= halfHeight {
		return inkedMargin(x, y-halfHeight, -halfHeight-y)
	}
	column, row := int((x+halfWidth)/calib.SquareMm), int((halfHeight-y)/calib.SquareMm)
	if (column+row)%2 == 0 {
		return true
	}
	// Place inside the white square, from its marker's top left corner, in cells.
	const cell, rim = calib.MarkerMm / 6, (calib.SquareMm - calib.MarkerMm) / 2
	i := math.Floor((x + halfWidth - float64(column)*calib.SquareMm - rim) / cell)
	j := math.Floor((halfHeight - y - float64(row)*calib.SquareMm - rim) / cell)
	if i < 0 || j < 0 || i > 5 || j > 5 {
		return false
	}
	if i == 0 || j == 0 || i == 5 || j == 5 {
		return true
	}
	id := calib.FirstMarker(s.Number) + (row*calib.SheetColumns+column)/2
	return markerBits[id]>>uint(15-4*(int(j)-1)-(int(i)-1))&1 == 0
}

// inkedMargin draws the FRONT arrow, lines of small print and the ruler: above is
// the distance above the board, below the one under it.
func inkedMargin(x, above, below float64) bool {
	switch {
	case above > 5.5 && above < 10:
		return math.Abs(x) < 2.5
	case above >= 10 && above < 15.5:
		return math.Abs(x) < 15.5-above
	}
	// Words of small print, as grey as such print looks from afar.
	line := math.Abs(above-9.5) < 0.8 && (x > 6 && x < 28 || x > -80 && x < -50) || math.Abs(below-13) < 0.7 && math.Abs(x) < 70
	if line {
		letter := math.Mod(x+200, 1.6)
		return letter < 0.9 && math.Mod(x+200, 9.6) > 1.6
	}
	if below > 5 && below < 8 && math.Abs(x) <= 50.1 {
		mm := math.Mod(x+50.1, 10)
		return below < 5.3 || mm < 0.2 || below < 6.5 && math.Mod(x+50.1, 1) < 0.2
	}
	return false
}
