package bare

import (
	"bytes"
	"encoding/binary"

	"github.com/bep/imagemeta"
)

// JPEG markers (ITU-T T.81, table B.1).
const (
	markerTEM, markerSOI, markerEOI, markerSOS = 0x01, 0xD8, 0xD9, 0xDA
	markerRST0, markerRST7                     = 0xD0, 0xD7
	markerSOF0, markerSOF15, markerJPG         = 0xC0, 0xCF, 0xC8 // with DHT and DAC
	markerDQT, markerDNL, markerDRI            = 0xDB, 0xDC, 0xDD
	markerAPP0, markerAPP2, markerAPP14        = 0xE0, 0xE2, 0xEE
)

// bareJPEG copies the segments that decoding needs up to the end of the picture. What
// follows, further pictures or a film, is no part of it.
func bareJPEG(file []byte) ([]byte, error) {
	out := []byte{0xFF, markerSOI}
	if tiff := exifOf(file, imagemeta.JPEG); tiff != nil {
		payload := append([]byte("Exif\x00\x00"), tiff...)
		out = append(out, 0xFF, 0xE1)
		out = binary.BigEndian.AppendUint16(out, uint16(2+len(payload)))
		out = append(out, payload...)
	}
	for at := 2; ; {
		for at+1 < len(file) && file[at] == 0xFF && file[at+1] == 0xFF { // fill bytes
			at++
		}
		if at+2 > len(file) || file[at] != 0xFF {
			return nil, errDamaged
		}
		marker := file[at+1]
		if marker == markerEOI {
			return append(out, 0xFF, markerEOI), nil
		}
		if alone(marker) || at+4 > len(file) {
			return nil, errDamaged // none of those stands between segments
		}
		end := at + 2 + int(binary.BigEndian.Uint16(file[at+2:]))
		if end < at+4 || end > len(file) {
			return nil, errDamaged
		}
		if wanted(marker, file[at+4:end]) {
			out = append(out, file[at:end]...)
		}
		at = end
		if marker == markerSOS {
			scan := scanLength(file[at:])
			out = append(out, file[at:at+scan]...)
			at += scan
		}
	}
}

// alone says that no segment follows the marker.
func alone(marker byte) bool {
	return marker == 0 || marker == markerTEM || marker == markerSOI || markerRST0 <= marker && marker <= markerRST7
}

// wanted are the segments that the picture is coded in, and of the applications' those
// that change how it looks: JFIF's density, the colour profile, and which colours a
// fourth channel or no JFIF mean.
func wanted(marker byte, payload []byte) bool {
	switch marker {
	case markerSOS, markerDQT, markerDNL, markerDRI:
		return true
	case markerAPP0:
		return bytes.HasPrefix(payload, []byte("JFIF\x00")) && len(payload) == 14 // no thumbnail
	case markerAPP2:
		return bytes.HasPrefix(payload, []byte("ICC_PROFILE\x00"))
	case markerAPP14:
		return bytes.HasPrefix(payload, []byte("Adobe")) && len(payload) == 12
	}
	return markerSOF0 <= marker && marker <= markerSOF15 && marker != markerJPG
}

// scanLength is how far the coded picture goes, to the next marker that is not
// part of it.
func scanLength(data []byte) int {
	for i := 0; i+1 < len(data); i++ {
		if data[i] == 0xFF && data[i+1] != 0 && (data[i+1] < markerRST0 || data[i+1] > markerRST7) {
			return i
		}
	}
	return len(data)
}
