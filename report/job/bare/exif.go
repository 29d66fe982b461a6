package bare

import (
	"encoding/binary"
	"strings"

	"github.com/bep/imagemeta"

	"rimpair/vision"
)

// camera is what measuring uses of a photo's EXIF data; zero where the file says
// nothing.
type camera struct {
	orientation, focal35Mm uint16
	make, model, lens      string
	focalMm, digitalZoom   [2]uint32 // numerator and denominator
}

// readCamera reads the tags; damaged ones are as good as missing.
func readCamera(file []byte, format imagemeta.ImageFormat) camera {
	var c camera
	vision.EachExifTag(file, format, c.set)
	return c
}

func (c *camera) set(tag string, value any) {
	switch tag {
	case "Orientation":
		if v, ok := value.(uint16); ok && v <= 8 {
			c.orientation = v
		}
	case "Make":
		c.make = text(value)
	case "Model":
		c.model = text(value)
	case "LensModel":
		c.lens = text(value)
	case "FocalLength":
		if v, ok := value.(imagemeta.Rat[uint32]); ok {
			c.focalMm = [2]uint32{v.Num(), v.Den()}
		}
	case "DigitalZoomRatio":
		if v, ok := value.(imagemeta.Rat[uint32]); ok {
			c.digitalZoom = [2]uint32{v.Num(), v.Den()}
		}
	case "FocalLengthIn35mmFormat":
		c.focal35Mm, _ = value.(uint16)
	}
}

// longestText is more than any camera's name.
const longestText = 100

func text(value any) string {
	s, _ := value.(string)
	s = strings.TrimSpace(strings.Trim(s, "\x00"))
	if len(s) > longestText {
		return ""
	}
	return s
}

// EXIF tags and field types (CIPA DC-008).
const (
	tagMake, tagModel, tagOrientation  = 0x010f, 0x0110, 0x0112
	tagExifIFD, tagVersion             = 0x8769, 0x9000
	tagFocal, tagFocal35, tagLensModel = 0x920a, 0xa405, 0xa434
	tagDigitalZoom                     = 0xa404

	typeASCII, typeShort, typeLong, typeRational, typeUndefined = 2, 3, 4, 5, 7
)

// field is one entry of a directory, with its value's bytes.
type field struct {
	tag, kind uint16
	count     int
	value     []byte
}

func textField(tag uint16, s string) field {
	return field{tag, typeASCII, len(s) + 1, append([]byte(s), 0)}
}

func shortField(tag, v uint16) field {
	return field{tag, typeShort, 1, binary.BigEndian.AppendUint16(nil, v)}
}

func longField(tag uint16, v int) field {
	return field{tag, typeLong, 1, binary.BigEndian.AppendUint32(nil, uint32(v))}
}

func rationalField(tag uint16, v [2]uint32) field {
	return field{tag, typeRational, 1, binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, v[0]), v[1])}
}

// tiff writes the tags as EXIF keeps them, nil when there are none.
func (c camera) tiff() []byte {
	if c == (camera{}) {
		return nil
	}
	const header = 8
	var first []field // sorted by tag
	if c.make != "" {
		first = append(first, textField(tagMake, c.make))
	}
	if c.model != "" {
		first = append(first, textField(tagModel, c.model))
	}
	if c.orientation != 0 {
		first = append(first, shortField(tagOrientation, c.orientation))
	}
	first = append(first, longField(tagExifIFD, 0))
	second := header + len(directory(header, first))
	first[len(first)-1] = longField(tagExifIFD, second)
	lens := []field{{tagVersion, typeUndefined, 4, []byte("0232")}}
	if c.focalMm[1] != 0 {
		lens = append(lens, rationalField(tagFocal, c.focalMm))
	}
	if c.digitalZoom[1] != 0 {
		lens = append(lens, rationalField(tagDigitalZoom, c.digitalZoom))
	}
	if c.focal35Mm != 0 {
		lens = append(lens, shortField(tagFocal35, c.focal35Mm))
	}
	if c.lens != "" {
		lens = append(lens, textField(tagLensModel, c.lens))
	}
	tiff := append([]byte("MM\x00*\x00\x00\x00\x08"), directory(header, first)...)
	return append(tiff, directory(second, lens)...)
}

// directory lays out fields at an offset: the entries, the offset of the next
// directory (none), then the values that do not fit an entry's four bytes.
func directory(at int, fields []field) []byte {
	b := binary.BigEndian.AppendUint16(nil, uint16(len(fields)))
	var values []byte
	valuesAt := at + 2 + 12*len(fields) + 4
	for _, f := range fields {
		b = binary.BigEndian.AppendUint16(b, f.tag)
		b = binary.BigEndian.AppendUint16(b, f.kind)
		b = binary.BigEndian.AppendUint32(b, uint32(f.count))
		if len(f.value) <= 4 {
			b = append(append(b, f.value...), make([]byte, 4-len(f.value))...)
			continue
		}
		b = binary.BigEndian.AppendUint32(b, uint32(valuesAt+len(values)))
		if values = append(values, f.value...); len(values)%2 == 1 {
			values = append(values, 0)
		}
	}
	return append(append(b, 0, 0, 0, 0), values...)
}
