package report

import (
	"fmt"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"rimpair/measure"
)

const (
	photoQuality = 90 // of JPEG: thin coloured lines stay clean
	markedSuffix = "-marked"
)

// WriteAll writes everything a measurement has to show into a folder: the text,
// the JSON, each photo with its marks and the view from above. The photos' paths
// and orientations come in the order of Result.Photos. One photo is in memory at
// a time. The files' paths are returned in the order in which a reader wants them.
func WriteAll(dir string, m measure.Measurement, paths []string, orientations []int) (files []string, err error) {
	d, err := newDrawn(m, paths, orientations)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	save := func(name string, content func(io.Writer) error) error {
		path := filepath.Join(dir, name)
		if err := writeFile(path, content); err != nil {
			return err
		}
		files = append(files, path)
		return nil
	}
	if err := save("result.txt", func(w io.Writer) error { return Text(w, m.Result) }); err != nil {
		return files, err
	}
	if err := save("result.json", func(w io.Writer) error { return JSON(w, m.Result) }); err != nil {
		return files, err
	}
	err = d.photos(func(i int, name string, photo *Picture) error {
		DrawPhoto(photo, m.Overlays[i])
		return save(name, func(w io.Writer) error { return jpeg.Encode(w, photo.Upright, &jpeg.Options{Quality: photoQuality}) })
	})
	if err != nil {
		return files, err
	}
	// The best compression would save a fifth of the file and take five times as long.
	encoder := png.Encoder{CompressionLevel: png.BestSpeed}
	err = save("top-view.png", func(w io.Writer) error { return encoder.Encode(w, d.top.Draw()) })
	return files, err
}

// drawn is a measurement being drawn.
type drawn struct {
	measure.Measurement
	paths        []string
	orientations []int
	top          *TopView // complete after photos
}

func newDrawn(m measure.Measurement, paths []string, orientations []int) (*drawn, error) {
	n := len(m.Result.Photos)
	if len(m.Overlays) != n || len(m.Top.Cameras) != n || len(paths) != n || len(orientations) != n {
		return nil, fmt.Errorf("%d photos measured, but %d overlays, %d cameras, %d paths and %d orientations to draw",
			n, len(m.Overlays), len(m.Top.Cameras), len(paths), len(orientations))
	}
	top, err := NewTopView(m)
	if err != nil {
		return nil, err
	}
	return &drawn{m, paths, orientations, top}, nil
}

// photos gives each photo to draw, to be drawn on, with a name for its file. One photo is
// in memory at a time.
func (d *drawn) photos(draw func(i int, name string, photo *Picture) error) error {
	names := markedNames(d.paths)
	for i, path := range d.paths {
		runtime.GC() // a photo takes 70 MB: give back the last one's before the next
		photo, err := OpenPicture(path, d.orientations[i])
		if err != nil {
			return err
		}
		if r := d.Result.Photos[i]; photo.width != r.Width || photo.height != r.Height {
			return fmt.Errorf("%s has %d x %d pixels, but was measured with %d x %d: marks would be misplaced",
				path, photo.width, photo.height, r.Width, r.Height)
		}
		d.top.Add(i, photo)
		if err := draw(i, names[i], photo); err != nil {
			return err
		}
	}
	return nil
}

// writeFile creates a file and reports an error of closing it too.
func writeFile(path string, content func(io.Writer) error) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() {
		if e := f.Close(); err == nil {
			err = e
		}
	}()
	return content(f)
}

// markedNames names the marked photos after the originals; equal names from
// different folders are numbered.
func markedNames(paths []string) []string {
	names := make([]string, len(paths))
	taken := map[string]bool{}
	for i, path := range paths {
		base := filepath.Base(path)
		stem := strings.TrimSuffix(base, filepath.Ext(base)) + markedSuffix
		name := stem + ".jpg"
		for n := 2; taken[strings.ToLower(name)]; n++ {
			name = fmt.Sprintf("%s-%d.jpg", stem, n)
		}
		taken[strings.ToLower(name)] = true
		names[i] = name
	}
	return names
}
