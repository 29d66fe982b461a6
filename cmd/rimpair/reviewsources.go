package main

import (
	"archive/zip"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"rimpair/report/job"
	"rimpair/report/review"
	"rimpair/vision"
)

// sources are the photos that arguments name: files, and what is in folders and in
// archives, those in folders as well.
type sources struct {
	unpacked string // folder to unpack to
	files    []review.File
	problems []error // archives that hold what cannot be taken out
}

// add adds what an argument names. Folders are named from the argument on, a lone one
// from below it.
func (s *sources) add(arg string, alone bool) error {
	info, err := os.Stat(arg)
	if err != nil {
		return err
	}
	if !info.IsDir() {
		s.file(arg, filepath.Base(arg), true)
		return nil
	}
	absolute, err := filepath.Abs(arg)
	if err != nil {
		return err
	}
	top := filepath.Base(absolute)
	if alone {
		top = ""
	}
	return filepath.WalkDir(arg, func(at string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() || strings.HasPrefix(e.Name(), ".") {
			return err // links lead elsewhere, perhaps in a circle
		}
		inner, err := filepath.Rel(arg, at)
		if err == nil {
			s.file(at, path.Join(top, filepath.ToSlash(inner)), false)
		}
		return err
	})
}

// file adds a photo or an archive; what is neither by its name only if it was asked for.
func (s *sources) file(at, name string, asked bool) {
	switch {
	case isZip(name):
		if err := s.archive(at, name); err != nil {
			s.problems = append(s.problems, fmt.Errorf("%s %w", name, err))
		}
	case asked || isPhoto(name):
		s.files = append(s.files, review.File{Path: at, Name: name})
	}
}

func isZip(name string) bool { return strings.EqualFold(path.Ext(name), ".zip") }

func isPhoto(name string) bool {
	switch strings.ToLower(path.Ext(name)) {
	case ".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif":
		return true
	}
	return false
}

func (s *sources) archive(at, name string) error {
	z, err := job.OpenPhotoZip(at)
	if err != nil {
		return err
	}
	defer z.Close()
	for _, f := range z.Files() {
		if !isPhoto(f.Name) {
			continue
		}
		to := filepath.Join(s.unpacked, fmt.Sprintf("%d%s", len(s.files)+len(s.problems), strings.ToLower(path.Ext(f.Name))))
		if err := unpackTo(to, z, f); err != nil {
			s.problems = append(s.problems, fmt.Errorf("%s %w", name, err))
			continue
		}
		s.files = append(s.files, review.File{Path: to, Name: name + "/" + strings.ToValidUTF8(f.Name, "_")})
	}
	return nil
}

func unpackTo(to string, z *job.PhotoZip, f *zip.File) (err error) {
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	defer func() {
		if e := out.Close(); err == nil {
			err = e
		}
		if err != nil {
			os.Remove(to)
		}
	}()
	return z.Unpack(out, f, vision.DefaultLimits().Bytes)
}
