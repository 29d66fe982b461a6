package serve

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"rimpair/report/job"
)

// spool is a folder of photos that were acknowledged, each in a folder of its own
// that is named by its key: the photo under its own name, and about.json, which is
// written last. A folder without it was never acknowledged.
type spool string

const aboutName = "about.json"

// shot is an acknowledged photo.
type shot struct {
	Key      string    `json:"key"`
	Name     string    `json:"name"` // as it came
	File     string    `json:"file"` // as it lies here
	View     string    `json:"view"`
	Position string    `json:"position"`
	Modified time.Time `json:"modified,omitzero"` // by the client's clock
	Arrived  time.Time `json:"arrived"`
	SHA256   string    `json:"sha256"`
	// What the photo is worth, nil until it was judged.
	Judged *judged `json:"judged,omitempty"`
}

// goodKey is what a client may name a photo by: nothing that means anything in a
// path.
var goodKey = regexp.MustCompile(`^[A-Za-z0-9_-]{8,64}$`)

// goodWord is what a view may be named by, if at all.
var goodWord = regexp.MustCompile(`^[a-z0-9_-]{0,20}$`)

func (s spool) path(p *shot) string { return filepath.Join(string(s), p.Key, p.File) }

// fileName is a plain name for a photo that came with any name.
func fileName(name string) string {
	plain := job.PlainName(path.Base(strings.ReplaceAll(name, `\`, "/")))
	if strings.EqualFold(plain, aboutName) {
		return "photo"
	}
	return plain
}

// put writes a photo and forces it to the disk.
func (s spool) put(p *shot, body io.Reader) error {
	p.File = fileName(p.Name)
	dir := filepath.Join(string(s), p.Key)
	err := os.MkdirAll(dir, 0o755)
	if err == nil {
		err = s.fill(p, dir, body)
	}
	if err != nil {
		_ = os.RemoveAll(dir) // what is left of it was not acknowledged
	}
	return err
}

func (s spool) fill(p *shot, dir string, body io.Reader) error {
	sum := sha256.New()
	var reading error // is the client's fault, not the disk's
	err := job.WriteFile(s.path(p), func(w io.Writer) error {
		_, err := io.Copy(io.MultiWriter(w, sum), readerFunc(func(b []byte) (n int, err error) {
			if n, err = body.Read(b); err != nil && err != io.EOF {
				reading = err
			}
			return n, err
		}))
		return err
	})
	if reading != nil {
		return bodyProblem(reading)
	}
	if err != nil {
		return err
	}
	p.SHA256 = hex.EncodeToString(sum.Sum(nil))
	// The folders' names first, so that what about.json says is there.
	for _, d := range []string{string(s), filepath.Dir(string(s))} {
		if err := job.SyncDir(d); err != nil {
			return err
		}
	}
	return s.describe(p)
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }

// describe writes what is known of a photo.
func (s spool) describe(p *shot) error {
	return job.WriteFile(filepath.Join(string(s), p.Key, aboutName), func(w io.Writer) error {
		return json.NewEncoder(w).Encode(p)
	})
}

// remove takes photos away. about.json goes first: a folder without it is none.
func (s spool) remove(keys ...string) error {
	for _, key := range keys {
		dir := filepath.Join(string(s), key)
		if err := os.Remove(filepath.Join(dir, aboutName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	return job.SyncDir(string(s))
}

// read finds what was acknowledged, oldest first, and clears away what was not.
func (s spool) read() ([]*shot, error) {
	entries, err := os.ReadDir(string(s))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var list []*shot
	for _, e := range entries {
		if !e.IsDir() || !goodKey.MatchString(e.Name()) {
			continue
		}
		content, err := os.ReadFile(filepath.Join(string(s), e.Name(), aboutName))
		if errors.Is(err, fs.ErrNotExist) {
			if err := os.RemoveAll(filepath.Join(string(s), e.Name())); err != nil {
				return nil, err
			}
			continue
		}
		p := new(shot)
		if err == nil {
			err = json.Unmarshal(content, p)
		}
		if err != nil || p.Key != e.Name() || p.File != fileName(p.File) {
			continue // not written here: it is left alone
		}
		list = append(list, p)
	}
	slices.SortFunc(list, func(a, b *shot) int { return cmp.Or(a.Arrived.Compare(b.Arrived), cmp.Compare(a.Key, b.Key)) })
	return list, err
}
