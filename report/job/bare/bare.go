// Package bare takes everything out of a photo's file that measuring does not need:
// where and when it was taken, by whom, hidden further pictures and films.
//
// It keeps what it knows instead of removing what it knows: the picture's own data,
// unchanged, its colour profile, and a newly written EXIF block of orientation,
// make, model, lens and focal length. Whatever else a file may hold, known or not,
// is left behind: EXIF's GPS directory and maker's notes, XMP, IPTC, comments,
// thumbnails, what is appended to the file.
//
//	JPEG  segments that decoding does not need are dropped      ITU-T T.81
//	PNG   chunks that decoding does not need are dropped        ISO/IEC 15948
//	WebP  likewise                                              RFC 9649
//	HEIC  metadata are overwritten in their places, for the     ISO/IEC 14496-12,
//	      picture's data are found by their offsets             ISO/IEC 23008-12
//
// A file that cannot be taken apart for certain is refused, never passed on.
package bare

import (
	"bytes"
	"errors"

	"github.com/bep/imagemeta"
)

// Photo returns a photo's file without what measuring does not need.
func Photo(file []byte) ([]byte, error) {
	switch {
	case bytes.HasPrefix(file, []byte("\xff\xd8\xff")):
		return bareJPEG(file)
	case bytes.HasPrefix(file, []byte(pngSignature)):
		return barePNG(file)
	case len(file) >= 12 && string(file[:4]) == "RIFF" && string(file[8:12]) == "WEBP":
		return bareWebP(file)
	case len(file) >= 12 && string(file[4:8]) == "ftyp":
		return bareHEIC(file)
	}
	return nil, errors.New("it is no JPEG, PNG, WebP or HEIC picture")
}

// errDamaged is the answer to a file that ends or jumps where it should not.
var errDamaged = errors.New("its data are damaged")

func exifOf(file []byte, format imagemeta.ImageFormat) []byte { return readCamera(file, format).tiff() }
