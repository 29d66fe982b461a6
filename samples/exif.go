package samples

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"

	"rimpair/calib"
)

// Phone is what an invented phone writes into its photos' EXIF block. Its focal
// lengths are nominal: up to 3 % off the truth.
type Phone struct {
	Make, Model string
	FocalMm     float64
	Focal35Mm   int
}

// diagonal35Mm is the diagonal of the 36 × 24 mm frame, to which the equivalent
// focal length refers.
var diagonal35Mm = math.Hypot(36, 24)

// focalError is how far the nominal focal length may be off.
const focalError = 0.03

func newPhone(g *rand.Rand, lens calib.Camera, width, height float64) Phone {
	true35 := lens.F * diagonal35Mm / math.Hypot(width, height)
	p := Phone{Make: "Demo", Model: pick(g, "Phone 101", "Phone 147", "Phone 212", "Phone 305")}
	// A whole number within the error: rounding alone reaches 2 %.
	for {
		p.Focal35Mm = int(math.Round(true35 * (1 + uniform(g, -focalError, focalError))))
		if off := float64(p.Focal35Mm)/true35 - 1; math.Abs(off) <= focalError {
			break
		}
	}
	sensorDiagonalMm := uniform(g, 7, 11.5)
	p.FocalMm = math.Round(100*float64(p.Focal35Mm)*sensorDiagonalMm/diagonal35Mm) / 100
	return p
}

// EXIF tags and field types (CIPA DC-008).
const (
	tagMake, tagModel, tagOrientation = 0x010f, 0x0110, 0x0112
	tagExifIFD, tagVersion            = 0x8769, 0x9000
	tagFocal, tagFocal35              = 0x920a, 0xa405
	tagWidth, tagHeight               = 0xa002, 0xa003

	typeASCII, typeShort, typeLong, typeRational, typeUndefined = 2, 3, 4, 5, 7
)

// field is one entry of an EXIF directory with its value's bytes.
type field struct {
	tag, kind uint16
	count     uint32
	value     []byte
}

func textField(tag uint16, s string) field {
	return field{tag, typeASCII, uint32(len(s) + 1), append([]byte(s), 0)}
}

func shortField(tag uint16, v int) field {
	return field{tag, typeShort, 1, binary.BigEndian.AppendUint16(nil, uint16(v))}
}

func longField(tag uint16, v int) field {
	return field{tag, typeLong, 1, binary.BigEndian.AppendUint32(nil, uint32(v))}
}

func hundredthsField(tag uint16, v float64) field {
	b := binary.BigEndian.AppendUint32(nil, uint32(math.Round(v*100)))
	return field{tag, typeRational, 1, binary.BigEndian.AppendUint32(b, 100)}
}

// directory lays out fields (sorted by tag) at an offset: the entries, the offset of
// the next directory (none), then the values that do not fit an entry's four bytes.
func directory(at int, fields []field) []byte {
	b := binary.BigEndian.AppendUint16(nil, uint16(len(fields)))
	data, dataAt := []byte(nil), at+2+12*len(fields)+4
	for _, f := range fields {
		b = binary.BigEndian.AppendUint16(b, f.tag)
		b = binary.BigEndian.AppendUint16(b, f.kind)
		b = binary.BigEndian.AppendUint32(b, f.count)
		if len(f.value) <= 4 {
			b = append(b, f.value...)
			b = append(b, make([]byte, 4-len(f.value))...)
			continue
		}
		b = binary.BigEndian.AppendUint32(b, uint32(dataAt+len(data)))
		if data = append(data, f.value...); len(data)%2 == 1 {
			data = append(data, 0)
		}
	}
	return append(append(b, 0, 0, 0, 0), data...)
}

// exif is the whole APP1 segment for a photo.
func (s Shot) exif() []byte {
	const header = 8
	first := []field{
		textField(tagMake, s.Phone.Make), textField(tagModel, s.Phone.Model),
		shortField(tagOrientation, s.Orientation), longField(tagExifIFD, 0),
	}
	second := header + len(directory(header, first))
	first[3] = longField(tagExifIFD, second)
	tiff := append([]byte("MM\x00*\x00\x00\x00\x08"), directory(header, first)...)
	tiff = append(tiff, directory(second, []field{
		{tagVersion, typeUndefined, 4, []byte("0232")},
		hundredthsField(tagFocal, s.Phone.FocalMm),
		longField(tagWidth, s.Width), longField(tagHeight, s.Height),
		shortField(tagFocal35, s.Phone.Focal35Mm),
	})...)
	payload := append([]byte("Exif\x00\x00"), tiff...)
	segment := binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(2+len(payload)))
	return append(segment, payload...)
}

// withEXIF inserts the segment behind a JPEG's start marker.
func withEXIF(jpeg, segment []byte) []byte {
	return bytes.Join([][]byte{jpeg[:2], segment, jpeg[2:]}, nil)
}
