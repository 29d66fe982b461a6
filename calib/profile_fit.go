package calib

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// This file says whether a profile holds for a photo: the same device, lens and
// zoom, and the same picture or a smaller copy of it.

const (
	// focalShare is how far the focal lengths of one lens may differ in EXIF, whose
	// makers round: 4.25 and 4.2 mm.
	focalShare = 0.02
	// focal35Off: the 35 mm equivalent is a whole number, and any zoom changes it.
	focal35Off = 0.5
	// zoomShare is far more than any rounding of the digital zoom in EXIF.
	zoomShare = 0.005
	// sizeOffPx is what rounding to whole pixels leaves of a copy's shape.
	sizeOffPx = 1.0
)

// For returns the profile as it holds for pictures of a device, scaled where these
// are smaller copies. The error says in words why it does not hold. What the
// pictures do not tell of their device is taken for right: copies lose their EXIF.
func (p *Profile) For(d Device) (*Profile, error) {
	own := &p.Device
	differ := func(what, a, b string) error {
		return fmt.Errorf("it was made for the %s %q, and the photo is from %q", what, a, b)
	}
	switch {
	case told(own.Make, d.Make) && !alike(own.Make, d.Make):
		return nil, differ("make", own.Make, d.Make)
	case told(own.Model, d.Model) && !alike(own.Model, d.Model):
		return nil, differ("model", own.Model, d.Model)
	case told(own.Lens, d.Lens) && !alike(own.Lens, d.Lens):
		return nil, differ("lens", own.Lens, d.Lens)
	case own.FocalMm > 0 && d.FocalMm > 0 && math.Abs(d.FocalMm/own.FocalMm-1) > focalShare:
		return nil, fmt.Errorf("it was made for a lens of %g mm, and the photo is from one of %g mm", own.FocalMm, d.FocalMm)
	case own.Focal35Mm > 0 && d.Focal35Mm > 0 && math.Abs(d.Focal35Mm-own.Focal35Mm) > focal35Off:
		return nil, fmt.Errorf("it was made at a zoom like %g mm on 35 mm film, and the photo was taken at %g mm", own.Focal35Mm, d.Focal35Mm)
	case told(own.Model, d.Model) && math.Abs(d.zoom()/own.zoom()-1) > zoomShare:
		return nil, fmt.Errorf("it was made at a digital zoom of %g, and the photo was taken at %g", own.zoom(), d.zoom())
	}
	return p.scaled(d.Width, d.Height)
}

// zoom is the digital zoom as a factor.
func (d *Device) zoom() float64 { return max(1, d.DigitalZoom) }

func told(a, b string) bool { return a != "" && b != "" }

func alike(a, b string) bool { return strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b)) }

// scaled is the profile for a copy of the whole picture, of the given size. With
// pixel centres at whole numbers, the picture's edges lie at −½ and width − ½.
func (p *Profile) scaled(width, height int) (*Profile, error) {
	own := &p.Device
	scale := float64(width) / float64(own.Width)
	fits := func(w, h int) bool {
		s := float64(w) / float64(own.Width)
		return math.Abs(s*float64(own.Height)-float64(h)) <= sizeOffPx
	}
	switch {
	case !fits(width, height) && fits(height, width):
		return nil, fmt.Errorf("the photo's pixels (%d × %d) were turned by some program: use the file as the phone stored it", width, height)
	case !fits(width, height):
		return nil, fmt.Errorf("the photo (%d × %d) is cropped or has another shape than the profile's pictures (%d × %d)", width, height, own.Width, own.Height)
	case scale > 1:
		return nil, fmt.Errorf("the photo (%d × %d) is larger than the profile's pictures (%d × %d)", width, height, own.Width, own.Height)
	}
	q := *p
	q.Device.Width, q.Device.Height = width, height
	q.Values = slices.Clone(p.Values)
	q.Covariance = make([][]float64, len(p.Covariance))
	factor := func(i int) float64 { // f, cx and cy are lengths, the others have no unit
		if i < 3 {
			return scale
		}
		return 1
	}
	for i := range q.Values {
		if i == 1 || i == 2 {
			q.Values[i] += 0.5
		}
		q.Values[i] *= factor(i)
		if i == 1 || i == 2 {
			q.Values[i] -= 0.5
		}
		q.Covariance[i] = make([]float64, len(p.Values))
		for j, v := range p.Covariance[i] {
			q.Covariance[i][j] = factor(i) * factor(j) * v
		}
	}
	return &q, nil
}

// ProfileFolder is where a person's camera profiles lie.
func ProfileFolder() (string, error) {
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("no folder for camera profiles: %w", err)
	}
	return filepath.Join(dir, "rimpair", "cameras"), nil
}

// PickProfile returns the best profile in a folder that holds for a device, scaled to
// its pictures, and its file; nil when none surely does. The error joins what was wrong with files that could not be read; the others
// count nevertheless.
func PickProfile(folder string, d Device) (best *Profile, file string, err error) {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, "", nil
	}
	problems := []error{err}
	for _, entry := range entries {
		if filepath.Ext(entry.Name()) != ".json" {
			continue
		}
		name := filepath.Join(folder, entry.Name())
		p, err := LoadProfile(name)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		if !identified(&p.Device, &d) {
			continue
		}
		fit, err := p.For(d)
		if err != nil {
			continue
		}
		if best == nil || better(fit, best) {
			best, file = fit, name
		}
	}
	return best, file, errors.Join(problems...)
}

// identified says whether two devices name their models, and the lens by its name or
// its focal length: of a phone's three lenses one must not pass for another.
func identified(a, b *Device) bool {
	return told(a.Model, b.Model) && (told(a.Lens, b.Lens) || a.FocalMm > 0 && b.FocalMm > 0)
}

// better prefers the profile that knows the focal length better, then the newer one.
func better(a, b *Profile) bool {
	return cmp.Or(cmp.Compare(a.StandardUncertainty(0), b.StandardUncertainty(0)), cmp.Compare(b.Created, a.Created)) < 0
}
