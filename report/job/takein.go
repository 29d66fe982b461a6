package job

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"
)

// An archive comes from somebody else. Nothing is written before all its names are
// looked at, only what its record names is unpacked, every file is counted while it
// is unpacked, and the job appears in the store at once or not at all.

const (
	mostFiles      = 50_000
	largestFile    = 100 << 20 // as for photos that are measured
	swellAllowed   = 20        // photos do not shrink in an archive, JSON does about tenfold
	swellFreeBytes = 64 << 20
)

// TakeIn unpacks an exported job into a store and returns its folder.
func TakeIn(archive, store string) (dir string, err error) {
	return takeIn(archive, store, swellFreeBytes)
}

// takeIn allows so many bytes beyond what an archive of that size may hold.
func takeIn(archive, store string, free int64) (dir string, err error) {
	z, err := zip.OpenReader(archive)
	if err != nil {
		return "", fmt.Errorf("%s: %w", archive, err)
	}
	defer z.Close()
	info, err := os.Stat(archive)
	if err != nil {
		return "", err
	}
	u := unpacker{left: free + swellAllowed*info.Size()}
	if err := u.open(z.File); err != nil {
		return "", fmt.Errorf("%s %w", archive, err)
	}
	dir = filepath.Join(store, u.top)
	if _, err := os.Lstat(dir); err == nil {
		return "", fmt.Errorf("%s is there already: move it away, or take %s in elsewhere", dir, archive)
	}
	if err := os.MkdirAll(store, 0o755); err != nil {
		return "", err
	}
	incoming, err := os.MkdirTemp(store, ".incoming-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(incoming)
	if err := u.unpack(incoming); err != nil {
		return "", fmt.Errorf("%s %w", archive, err)
	}
	if err := os.Chmod(incoming, 0o755); err != nil { // temporary folders are private
		return "", err
	}
	if err := os.Rename(incoming, dir); err != nil {
		return "", err
	}
	return dir, SyncDir(store)
}

// unpacker unpacks one archive.
type unpacker struct {
	left   int64 // bytes that may still be unpacked
	top    string
	files  map[string]*zip.File // by path in the job's folder
	record []byte
	job    *Job
}

// open looks at everything that can be told without unpacking more than the
// record.
func (u *unpacker) open(files []*zip.File) error {
	if len(files) > mostFiles {
		return fmt.Errorf("holds %d files, more than %d", len(files), mostFiles)
	}
	u.files = map[string]*zip.File{}
	taken := map[string]bool{}
	for _, f := range files {
		name, err := u.place(f)
		if err != nil {
			return err
		}
		if taken[strings.ToLower(f.Name)] {
			return fmt.Errorf("holds %q twice", f.Name)
		}
		taken[strings.ToLower(f.Name)] = true
		if name != "" {
			u.files[name] = f
		}
	}
	if u.files[recordName] == nil {
		return errors.New("holds no job: there is no job.json in it")
	}
	var record bytes.Buffer
	if err := u.copy(&record, u.files[recordName], largestRecord); err != nil {
		return err
	}
	j, damage, err := decode(record.Bytes())
	if err != nil {
		return fmt.Errorf("holds a job.json that %w", err)
	}
	if len(damage) > 0 {
		return fmt.Errorf("holds a damaged job: %w", damage[0])
	}
	u.record, u.job = record.Bytes(), j
	return u.onlyNamed()
}

// place is a file's path within the job's folder, empty for a folder.
func (u *unpacker) place(f *zip.File) (string, error) {
	name := strings.TrimSuffix(f.Name, "/")
	isDir := name != f.Name
	switch mode := f.Mode(); {
	case !utf8.ValidString(name) || strings.ContainsAny(name, "\\:\x00") || !filepath.IsLocal(name) || path.Clean(name) != name:
		return "", fmt.Errorf("holds a file %q, whose name leads elsewhere", f.Name)
	case isDir != mode.IsDir() || !isDir && !mode.IsRegular():
		return "", fmt.Errorf("holds %q, which is no plain file: a link or a device", f.Name)
	}
	top, inner, _ := strings.Cut(name, "/")
	if u.top == "" {
		u.top = top
	}
	if top != u.top || top != plain(top) || !isDir && inner == "" {
		return "", fmt.Errorf("holds %q: a job is one folder with a plain name", f.Name)
	}
	if isDir {
		return "", nil
	}
	return inner, nil
}

// onlyNamed refuses files that the record does not name.
func (u *unpacker) onlyNamed() error {
	named := map[string]bool{recordName: true}
	for _, f := range u.job.files() {
		named[f.File] = true
	}
	for name, f := range u.files {
		if !named[name] {
			return fmt.Errorf("holds %q, which its record does not name", f.Name)
		}
	}
	return nil
}

func (u *unpacker) unpack(dir string) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	d := folder{root}
	dirs := []string{"."}
	for name, f := range u.files {
		if name == recordName {
			continue
		}
		inner := path.Dir(name)
		if err := d.MkdirAll(inner); err != nil {
			return err
		}
		if err := put(d, name, func(w io.Writer) error { return u.copy(w, f, largestFile) }); err != nil {
			return err
		}
		dirs = append(dirs, inner, path.Dir(inner))
	}
	if err := put(d, recordName, bytesOf(u.record)); err != nil {
		return err
	}
	slices.Sort(dirs)
	for _, inner := range slices.Compact(dirs) {
		if err := d.SyncDir(inner); err != nil {
			return err
		}
	}
	return nil
}

// copy unpacks a file and counts it.
func (u *unpacker) copy(w io.Writer, f *zip.File, most int64) error {
	n, err := unpack(w, f, min(most, u.left))
	u.left -= n
	return err
}

// unpack unpacks a file of an archive. What the archive says of its size is not
// believed: it is counted, and beyond the most that is allowed it is an error.
func unpack(w io.Writer, f *zip.File, most int64) (n int64, err error) {
	r, err := f.Open()
	if err != nil {
		return 0, fmt.Errorf("holds %q, which cannot be read: %w", f.Name, err)
	}
	defer r.Close()
	n, err = io.Copy(w, io.LimitReader(r, most+1))
	switch {
	case n > most:
		return n, fmt.Errorf("swells beyond all measure at %q", f.Name)
	case err != nil:
		return n, fmt.Errorf("holds %q, which cannot be read: %w", f.Name, err)
	}
	return n, nil
}
