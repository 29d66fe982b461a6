package samples

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"iter"
	"os"
	"path/filepath"
)

// Render develops photo i; its plane Y is the grey picture.
func (s Scene) Render(i int) *image.YCbCr { return s.take(s.stage(s.Shots[i].TurnDeg), i) }

func (s Scene) take(st *stage, i int) *image.YCbCr {
	shot := s.Shots[i]
	return shot.Develop.apply(st.photograph(shot), s.Seed, uint64(i))
}

// Pictures renders all photos in turn; it prepares the scene once for all of them.
func (s Scene) Pictures() iter.Seq2[int, *image.YCbCr] {
	return func(yield func(int, *image.YCbCr) bool) {
		stages := map[float64]*stage{}
		for i, shot := range s.Shots {
			st := stages[shot.TurnDeg]
			if st == nil {
				st = s.stage(shot.TurnDeg)
				stages[shot.TurnDeg] = st
			}
			if !yield(i, s.take(st, i)) {
				return
			}
		}
	}
}

// Grey is the luminance of a rendered photo, without a copy.
func Grey(p *image.YCbCr) *image.Gray {
	return &image.Gray{Pix: p.Y, Stride: p.YStride, Rect: p.Rect}
}

// Photo is photo i as the phone stores it: a JPEG with EXIF.
func (s Scene) Photo(i int) ([]byte, error) { return s.Shots[i].file(s.Render(i)) }

func (s Shot) file(p *image.YCbCr) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p, &jpeg.Options{Quality: s.Develop.Quality}); err != nil {
		return nil, fmt.Errorf("encode %s: %w", s.Name, err)
	}
	return withEXIF(b.Bytes(), s.exif()), nil
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
	for i, picture := range s.Pictures() {
		shot := s.Shots[i]
		photo, err := shot.file(picture)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, shot.Name+".jpg"), photo, 0o644); err != nil {
			return err
		}
	}
	return nil
}
