package vision

/*
#cgo pkg-config: libjpeg
#include "jpeg.h"
*/
import "C"

import "image/jpeg"

// decodeJPEG decodes a JPEG file of the given size, ignoring its orientation tag; its blue only
// where it is wanted.
func decodeJPEG(file []byte, h header, blue bool) (pixels, error) {
	p := pixels{grey: newGray(h.width, h.height)}
	var bluePix *C.uchar
	if blue {
		p.blue = newGray(h.width, h.height)
		bluePix = bytesOf(p.blue.Pix)
	}
	switch C.rimpair_decode_jpeg(bytesOf(file), C.size_t(len(file)), bytesOf(p.grey.Pix), bluePix, C.int(h.width), C.int(h.height)) {
	case C.RIMPAIR_JPEG_DECODED:
		return p, nil
	case C.RIMPAIR_JPEG_OTHER_COLOURS: // those of a printer
		return decodeImage(jpeg.Decode, file, h)
	}
	return pixels{}, damaged()
}
