package samples

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
)

// Render develops photo i; its plane Y is the grey picture.
func (s Scene) Render(i int) *image.YCbCr {
	shot := s.Shots[i]
	return shot.Develop.apply(s.stage(shot.TurnDeg).photograph(shot), s.Seed, uint64(i))
}

// Grey is the luminance of a rendered photo, without a copy.
func Grey(p *image.YCbCr) *image.Gray {
	return &image.Gray{Pix: p.Y, Stride: p.YStride, Rect: p.Rect}
}

// Photo is photo i as the phone stores it: a JPEG with EXIF.
func (s Scene) Photo(i int) ([]byte, error) {
	shot := s.Shots[i]
	var b bytes.Buffer
	if err := jpeg.Encode(&b, s.Render(i), &jpeg.Options{Quality: shot.Develop.Quality}); err != nil {
		return nil, fmt.Errorf("encode %s: %w", shot.Name, err)
	}
	return withEXIF(b.Bytes(), shot.exif()), nil
}

// Write puts the photos and truth.json into a folder.
func (s Scene) Write(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	truth, err := json.MarshalIndent(s.Truth(), "", " ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "truth.json"), append(truth, '\n'), 0o644); err != nil {
		return err
	}
	for i, shot := range s.Shots {
		photo, err := s.Photo(i)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, shot.Name+".jpg"), photo, 0o644); err != nil {
			return err
		}
	}
	return nil
}
