package vision

import (
	"bytes"
	"math"
	"strings"
	"time"

	"github.com/bep/imagemeta"
)

// exifTags is what the measurement uses of a photo's EXIF data; zero where the file says nothing.
type exifTags struct {
	orientation        int
	make, model, lens  string
	focalMm, focal35Mm float64
	digitalZoom        float64 // 0 without any
	taken              time.Time
}

// readExif reads the tags; a photo without any, or with damaged ones, is still a photo.
func readExif(file []byte, format imagemeta.ImageFormat) exifTags {
	tags := exifTags{orientation: 1}
	EachExifTag(file, format, tags.set)
	return tags
}

// EachExifTag calls do with every EXIF tag of a picture's file that can be read, by
// the names that imagemeta has for them.
func EachExifTag(file []byte, format imagemeta.ImageFormat, do func(tag string, value any)) {
	// An error after some tags leaves those that were read.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R:           bytes.NewReader(file),
		ImageFormat: format,
		Sources:     imagemeta.EXIF,
		Timeout:     time.Second,
		HandleTag: func(t imagemeta.TagInfo) error {
			do(t.Tag, t.Value)
			return nil
		},
	})
}

func (t *exifTags) set(tag string, value any) {
	switch tag {
	case "Orientation":
		if v := number(value); 1 <= v && v <= 8 {
			t.orientation = int(v)
		}
	case "Make":
		t.make = text(value)
	case "Model":
		t.model = text(value)
	case "LensModel":
		t.lens = text(value)
	case "FocalLength":
		t.focalMm = number(value)
	case "FocalLengthIn35mmFormat":
		t.focal35Mm = number(value)
	case "DigitalZoomRatio":
		if v := number(value); v > 1 { // 0 and 1: not used
			t.digitalZoom = v
		}
	case "DateTimeOriginal":
		// Without its zone, which many phones leave out: times are only compared with
		// those of the same camera.
		if at, err := time.Parse("2006:01:02 15:04:05", text(value)); err == nil {
			t.taken = at
		}
	}
}

func text(value any) string {
	s, _ := value.(string)
	return strings.TrimSpace(strings.Trim(s, "\x00"))
}

// number returns an EXIF number of any type, 0 when it is none or no sensible one.
func number(value any) float64 {
	var v float64
	switch n := value.(type) {
	case uint16:
		v = float64(n)
	case uint32:
		v = float64(n)
	case float64:
		v = n
	case interface{ Float64() float64 }:
		v = n.Float64()
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return 0
	}
	return v
}

// diagonal35Mm is the diagonal of the 36 mm × 24 mm frame. The 35 mm equivalent of
// a focal length is defined by equal diagonals (CIPA DCG-001, from memory).
var diagonal35Mm = math.Hypot(36, 24)

// focalPx is the focal length in pixels. It is unknown (0) without the 35 mm equivalent,
// since the sensor's size is, and with digital zoom, which some phones count into the
// equivalent and others do not.
func focalPx(focal35Mm, digitalZoom float64, width, height int) float64 {
	if digitalZoom > 1 {
		return 0
	}
	return focal35Mm / diagonal35Mm * math.Hypot(float64(width), float64(height))
}
