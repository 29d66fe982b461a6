package vision

import (
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/bep/imagemeta"
)

// Limits bound what a file may cost.
type Limits struct {
	Bytes  int64         // size of the file
	Pixels int64         // width times height
	Time   time.Duration // to decode it
}

// DefaultLimits has room for the largest phone photos (200 megapixels) but for no
// decompression bomb.
func DefaultLimits() Limits {
	return Limits{Bytes: 100 << 20, Pixels: 210e6, Time: 30 * time.Second}
}

// Load reads a photo: JPEG, PNG, WebP or HEIC. The picture is grey, its blue beside it, at
// full resolution and in stored sensor coordinates, whatever its orientation tag says.
// The error is a *Refusal.
func Load(path string, lim Limits) (*Photo, error) { return load(path, lim, true) }

// LoadGrey is Load without the blue: sooner, where corners are all that is
// looked for.
func LoadGrey(path string, lim Limits) (*Photo, error) {
	photo, err := load(path, lim, false)
	if err == nil {
		photo.Blue = nil // decoders of other formats than JPEG have it all the same
	}
	return photo, err
}

func load(path string, lim Limits, blue bool) (*Photo, error) {
	file, err := readFile(path, lim.Bytes)
	if err != nil {
		return nil, forPhoto(path, err)
	}
	photo, err := decode(file, lim, blue)
	if err != nil {
		return nil, forPhoto(path, err)
	}
	photo.Path = path
	photo.SHA256 = sha256.Sum256(file)
	return photo, nil
}

func forPhoto(path string, err error) error {
	refusal, ok := err.(*Refusal)
	if !ok {
		refusal = &Refusal{
			Code:   "unreadable",
			Reason: fmt.Sprintf("The file cannot be read (%v).", err),
			Remedy: "Check the name and that the file may be read, or copy it from the phone again.",
		}
	}
	refusal.Photo = path
	return refusal
}

func readFile(path string, limit int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a regular file", path)
	}
	if info.Size() > limit {
		return nil, &Refusal{
			Code:   "too_large",
			Reason: fmt.Sprintf("The file has %d MB, more than the %d MB allowed.", info.Size()>>20, limit>>20),
			Remedy: "Give the photo as the phone stored it.",
		}
	}
	// The size may be a lie (a device, a file that grows): never read past the limit.
	return io.ReadAll(io.LimitReader(f, limit))
}

// checkedHeader is what can be told from the headers, within the limits.
func checkedHeader(file []byte, lim Limits) (header, error) {
	h, err := readHeader(file)
	if err != nil {
		return h, err
	}
	if h.width <= 0 || h.height <= 0 {
		return h, damaged()
	}
	if int64(h.height) > lim.Pixels/int64(h.width) {
		return h, &Refusal{
			Code:   "too_large",
			Reason: fmt.Sprintf("The picture has %d × %d pixels, more than the %d megapixels allowed.", h.width, h.height, lim.Pixels/1e6),
			Remedy: "Give the photo as the phone stored it.",
		}
	}
	return h, nil
}

// decode reads the picture and its EXIF data, with everything that can be told
// from the headers checked before any pixel is decoded.
func decode(file []byte, lim Limits, blue bool) (*Photo, error) {
	h, err := checkedHeader(file, lim)
	if err != nil {
		return nil, err
	}
	slow := &Refusal{
		Code:   "too_slow",
		Reason: fmt.Sprintf("The picture was not decoded within %v.", lim.Time),
		Remedy: "Give the photo as the phone stored it.",
	}
	p, err := withinTime(lim.Time, slow, func() (pixels, error) { return decodePixels(file, h, blue) })
	if err != nil {
		return nil, err
	}
	tags := readExif(file, h.format)
	if h.format == imagemeta.HEIF {
		tags.orientation = h.turn.orientation()
	}
	return &Photo{
		Gray:        p.grey,
		Blue:        p.blue,
		Orientation: tags.orientation,
		Taken:       tags.taken,
		FocalPx:     focalPx(tags.focal35Mm, tags.digitalZoom, p.grey.Width, p.grey.Height),
		Camera: CameraID{
			Make: tags.make, Model: tags.model, Lens: tags.lens,
			FocalMm: tags.focalMm, Focal35Mm: tags.focal35Mm, DigitalZoom: tags.digitalZoom,
			Width: p.grey.Width, Height: p.grey.Height,
		},
	}, nil
}

// withinTime gives up on what takes too long, with the refusal given. A decoder
// cannot be interrupted, so it is left to end by itself; its picture is bounded by
// the limit on pixels.
func withinTime[T any](limit time.Duration, slow *Refusal, work func() (T, error)) (T, error) {
	type result struct {
		value T
		err   error
	}
	done := make(chan result, 1)
	go func() {
		value, err := work()
		done <- result{value, err}
	}()
	select {
	case r := <-done:
		return r.value, r.err
	case <-time.After(limit):
		var none T
		return none, slow
	}
}
