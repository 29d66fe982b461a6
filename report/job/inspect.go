package job

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"

	"rimpair/measure"
)

// Inspected is a job with everything that is whole of it, and what is not.
type Inspected struct {
	*Job
	Damage []Damage
	// Results are those that are whole, by entry counted from 0.
	Results map[int]measure.Result
	// Loose are files in the folder that the record does not name.
	Loose []string
}

// Inspect reads a job and looks at each of its files.
func Inspect(dir string) (*Inspected, error) {
	j, damage, err := Read(dir)
	if err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	s := &Inspected{Job: j, Damage: damage, Results: map[int]measure.Result{}}
	for i, e := range j.Entries {
		for _, f := range slices.Concat(e.Photos, e.Pictures) {
			s.note(f.File, check(root, f))
		}
		if e.Measurement != nil {
			result, err := readResult(root, e.Measurement)
			if s.note(e.Measurement.Result.File, err) {
				s.Results[i] = result
			}
		}
	}
	if p := j.Vehicle.CameraProfile; p != nil {
		s.note(p.File, check(root, *p))
	}
	s.Loose, err = loose(root, j)
	return s, err
}

// note takes down damage, and says whether there was none.
func (s *Inspected) note(file string, err error) bool {
	if err != nil {
		s.Damage = append(s.Damage, Damage{file, err.Error(), damageCode(err)})
	}
	return err == nil
}

// What is wrong with a file; anything else makes it unreadable.
var (
	errMissing  = errors.New("is missing")
	errChanged  = errors.New("is not the file that was recorded: its SHA-256 differs")
	errOtherToe = errors.New("has another toe than the record")
)

func damageCode(err error) string {
	switch err {
	case errMissing:
		return "missing"
	case errChanged:
		return "changed"
	case errOtherToe:
		return "other_toe"
	}
	return "unreadable"
}

// check compares a file with its SHA-256.
func check(root *os.Root, want File) error {
	f, err := root.Open(want.File)
	if err != nil {
		return missing(err)
	}
	defer f.Close()
	hash := sha256.New()
	if _, err := io.Copy(hash, f); err != nil {
		return fmt.Errorf("cannot be read: %w", err)
	}
	if hex.EncodeToString(hash.Sum(nil)) != want.SHA256 {
		return errChanged
	}
	return nil
}

func missing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return errMissing
	}
	return fmt.Errorf("cannot be read: %w", err)
}

func readResult(root *os.Root, m *Measurement) (measure.Result, error) {
	var r measure.Result
	if err := check(root, m.Result); err != nil {
		return r, err
	}
	content, err := root.ReadFile(m.Result.File)
	if err == nil {
		err = json.Unmarshal(content, &r)
	}
	switch {
	case err != nil:
		return r, fmt.Errorf("cannot be read: %w", err)
	case r.TotalToeMm != m.TotalToeMm || r.RimTotalToeMm != m.RimTotalToeMm:
		return r, errOtherToe
	}
	return r, nil
}

// loose lists what the record does not name; hidden files are not looked at.
func loose(root *os.Root, j *Job) ([]string, error) {
	named := map[string]bool{recordName: true, "report.html": true, "report.pdf": true}
	for _, f := range j.files() {
		named[f.File] = true
	}
	var list []string
	err := fs.WalkDir(root.FS(), ".", func(name string, entry fs.DirEntry, err error) error {
		hidden := name != "." && strings.HasPrefix(path.Base(name), ".")
		switch {
		case err != nil:
			return err
		case hidden && entry.IsDir():
			return fs.SkipDir
		case !hidden && !entry.IsDir() && !named[name]:
			list = append(list, name)
		}
		return nil
	})
	slices.SortFunc(list, cmp.Compare[string])
	return list, err
}
