package report

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"

	"github.com/disintegration/imaging"

	"rimpair/measure"
	"rimpair/report/job"
)

// Pictures of a job are kept small enough that those of a dozen photos can be sent
// in one page.
const (
	pageLongSidePx  = 1400
	plainLongSidePx = 900
	thumbLongSidePx = 480
	pageQuality     = 72 // of JPEG: about 150 kB a marked photo
	leastQuality    = 40
	// In bytes: a dozen photos and the views from above of four stages, or 40 photos of
	// which most are thumbnails, stay below 5 MB in a page, which writes four characters
	// for three bytes.
	largestPicture, largestThumb = 220_000, 30_000
)

// JobPicture is a small picture for a job's report.
type JobPicture struct {
	Name   string // of the file
	JPEG   []byte
	Labels []job.Label
}

// JobPictures draws what a measurement used on each photo, and the view from above,
// which comes last, all without words. Paths and orientations are in the order of Result.Photos.
func JobPictures(m measure.Measurement, paths []string, orientations []int) ([]JobPicture, error) {
	d, err := newDrawn(m, paths, orientations)
	if err != nil {
		return nil, err
	}
	var pictures []JobPicture
	add := func(name string, img *image.RGBA, labels []label) error {
		small, err := pageJPEG(img, pageLongSidePx, largestPicture)
		pictures = append(pictures, JobPicture{name, small, placed(labels, img.Rect.Size())})
		return err
	}
	err = d.photos(func(i int, name string, photo *Picture) error {
		drawing := newPhotoDrawing(photo, photoUnits)
		drawing.marks(m.Overlays[i])
		return add(name, photo.Upright, drawing.labels(m.Overlays[i]))
	})
	if err != nil {
		return nil, err
	}
	img, labels := d.top.Plain()
	err = add("top-view.jpg", img, labels)
	return pictures, err
}

// PlainPictures makes small pictures of photos that are not measured.
func PlainPictures(paths []string, orientations []int) ([]JobPicture, error) {
	var pictures []JobPicture
	for i, path := range paths {
		photo, err := OpenPicture(path, orientations[i])
		if err != nil {
			return nil, err
		}
		small, err := pageJPEG(photo.Upright, plainLongSidePx, largestPicture)
		if err != nil {
			return nil, err
		}
		base := filepath.Base(path)
		pictures = append(pictures, JobPicture{Name: strings.TrimSuffix(base, filepath.Ext(base)) + ".jpg", JPEG: small})
	}
	return pictures, nil
}

// pageJPEG makes a small picture; one of much grain becomes coarser, and then smaller,
// until its file is small as well.
func pageJPEG(img image.Image, longSidePx, mostBytes int) ([]byte, error) {
	for ; ; longSidePx = longSidePx * 3 / 4 {
		small := imaging.Fit(img, longSidePx, longSidePx, imaging.Box)
		for quality := pageQuality; quality >= leastQuality; quality -= 16 {
			var b bytes.Buffer
			if err := jpeg.Encode(&b, small, &jpeg.Options{Quality: quality}); err != nil {
				return nil, err
			}
			if b.Len() <= mostBytes {
				return b.Bytes(), nil
			}
		}
	}
}

// JobPictureIn reads small pictures of the job in a folder, which may have been
// taken in from somebody else.
func JobPictureIn(dir string) func(job.File) ([]byte, error) {
	return func(f job.File) ([]byte, error) {
		root, err := os.OpenRoot(dir)
		if err != nil {
			return nil, err
		}
		defer root.Close()
		content, err := root.ReadFile(f.File)
		if err != nil {
			return nil, err
		}
		_, err = jpeg.DecodeConfig(bytes.NewReader(content))
		return content, err
	}
}

// thumbnails makes pictures smaller. One that is larger than a job's pictures are is
// not opened: it came from somebody else, and its pixels may not fit in memory.
func thumbnails(of func(job.File) ([]byte, error)) func(job.File) ([]byte, error) {
	return func(f job.File) ([]byte, error) {
		content, err := of(f)
		if err != nil {
			return nil, err
		}
		size, err := jpeg.DecodeConfig(bytes.NewReader(content))
		if err != nil {
			return nil, err
		}
		if max(size.Width, size.Height) > 2*pageLongSidePx {
			return nil, fmt.Errorf("has %d × %d pixels, more than a job's pictures", size.Width, size.Height)
		}
		img, err := jpeg.Decode(bytes.NewReader(content))
		if err != nil {
			return nil, err
		}
		return pageJPEG(img, thumbLongSidePx, largestThumb)
	}
}
