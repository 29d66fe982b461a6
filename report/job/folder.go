package job

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

const (
	recordName = "job.json"
	lockName   = ".lock"
	// Another process's writing is waited for.
	lockWait  = 10 * time.Second
	lockRetry = 20 * time.Millisecond
)

// Create makes a new job in a folder that does not exist or is empty.
func Create(dir string, j Job) error {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		return fmt.Errorf("%s is there already and not empty", dir)
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	err = locked(dir, lockWait, func(d disk) error {
		if _, err := os.Stat(filepath.Join(dir, recordName)); err == nil {
			return fmt.Errorf("%s was made by another process just now", dir)
		}
		draft := &Draft{Job: &j, disk: d}
		return draft.commit()
	})
	if err != nil {
		return err
	}
	return SyncDir(filepath.Dir(dir))
}

// SyncDir forces a folder's list of names to the disk.
func SyncDir(dir string) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	return errors.Join(folder{root}.SyncDir("."), root.Close())
}

// Update reads a job, lets change add to it, and writes it, while no other process
// can write. When change or the writing fails, the job stays as it was.
func Update(dir string, change func(*Draft) error) error {
	return locked(dir, lockWait, func(d disk) error { return update(d, dir, change) })
}

func update(d disk, dir string, change func(*Draft) error) error {
	j, damage, err := Read(dir)
	if err != nil {
		return err
	}
	if len(damage) > 0 {
		return fmt.Errorf("%s is damaged, nothing is added to it: %v", filepath.Join(dir, recordName), damage[0])
	}
	draft := &Draft{Job: j, disk: d}
	if err = change(draft); err == nil {
		err = draft.commit()
	}
	if err != nil {
		draft.undo()
	}
	return err
}

// locked does something with a folder while no other process does.
func locked(dir string, wait time.Duration, do func(disk) error) (err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	lock := flock.New(filepath.Join(dir, lockName))
	ctx, cancel := context.WithTimeout(context.Background(), wait)
	defer cancel()
	switch ok, err := lock.TryLockContext(ctx, lockRetry); {
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("another process is writing to %s: try again when it is done", dir)
	case err != nil || !ok:
		return fmt.Errorf("%s cannot be written to: %w", dir, err)
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	return do(folder{root})
}

// Draft is a job being changed.
type Draft struct {
	*Job
	disk    disk
	written []string // files that the record does not name yet
	done    bool     // the record names them
}

// Append adds an entry; its photos come from AddPhoto, with the entry's number.
func (d *Draft) Append(e Entry) { d.Entries = append(d.Entries, e) }

// AddResult writes the JSON of a measurement that Append will be given next.
func (d *Draft) AddResult(e *Entry, content []byte) (File, error) {
	return d.add(fmt.Sprintf("results/%s.json", d.place(e)), "", bytesOf(content))
}

// AddPicture writes a picture for the report, of the entry that Append will be given
// next.
func (d *Draft) AddPicture(e *Entry, name string, jpeg []byte) (File, error) {
	return d.add(d.free("pictures/"+d.place(e), name), "", bytesOf(jpeg))
}

// AddPhoto copies a photo for the entry that Append will be given next.
func (d *Draft) AddPhoto(e *Entry, source string) (File, error) {
	f, err := os.Open(source)
	if err != nil {
		return File{}, err
	}
	defer f.Close()
	name := filepath.Base(source)
	dir := "photos/" + d.place(e)
	return d.add(d.free(dir, name), name, func(w io.Writer) error {
		_, err := io.Copy(w, f)
		return err
	})
}

// SetCameraProfile keeps the profile of the camera.
func (d *Draft) SetCameraProfile(name string, content []byte) error {
	f, err := d.add(d.free("camera", name), name, bytesOf(content))
	if err == nil {
		d.Vehicle.CameraProfile = &f
	}
	return err
}

func bytesOf(content []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	}
}

// place names the next entry's files.
func (d *Draft) place(e *Entry) string { return fmt.Sprintf("%02d-%s", len(d.Entries)+1, e.kind()) }

// free is a path in a folder for a file that came with any name: the same name
// where it is plain and not taken, whatever the letters' case.
func (d *Draft) free(dir, name string) string {
	extension := path.Ext(name)
	stem := plain(strings.TrimSuffix(name, extension))
	extension = plain(strings.TrimPrefix(extension, "."))
	for n := 1; ; n++ {
		candidate := dir + "/" + stem
		if n > 1 {
			candidate += fmt.Sprintf("-%d", n)
		}
		if extension != "" {
			candidate += "." + extension
		}
		if !slices.ContainsFunc(d.names(), func(taken string) bool { return strings.EqualFold(taken, candidate) }) {
			return candidate
		}
	}
}

// names are the paths that are taken.
func (d *Draft) names() []string {
	names := slices.Clone(d.written)
	for _, f := range d.files() {
		names = append(names, f.File)
	}
	return names
}

// longestName leaves room for a number and an extension in a path of 255 bytes.
const longestName = 60

// PlainName makes a name that any file system takes, and that leads nowhere.
func PlainName(name string) string { return plain(name) }

// plain makes a name that isPlainPath allows.
func plain(name string) string {
	name = strings.Map(func(r rune) rune {
		if isOdd(r) {
			return '_'
		}
		return r
	}, strings.ToValidUTF8(name, "_"))
	for len(name) > longestName {
		r := []rune(name)
		name = string(r[:len(r)-1])
	}
	if name = strings.Trim(name, trimmed); name == "" {
		return "file"
	}
	return name
}

// add writes a file that the record will name.
func (d *Draft) add(place, name string, content func(io.Writer) error) (File, error) {
	if err := d.disk.MkdirAll(path.Dir(place)); err != nil {
		return File{}, err
	}
	hash := sha256.New()
	d.written = append(d.written, place)
	err := put(d.disk, place, func(w io.Writer) error { return content(io.MultiWriter(w, hash)) })
	return File{File: place, SHA256: hex.EncodeToString(hash.Sum(nil)), Name: name}, err
}

// commit makes the change last: first the new files' folders, from the inside out,
// then the record that names them.
func (d *Draft) commit() error {
	d.Schema = Schema
	if d.Entries == nil {
		d.Entries = []Entry{} // [] in the record, never null
	}
	if err := d.validate(); err != nil {
		return fmt.Errorf("the record %w", err)
	}
	content, err := json.MarshalIndent(d.Job, "", "  ")
	if err != nil {
		return err
	}
	for _, dir := range d.dirs() {
		if err := d.disk.SyncDir(dir); err != nil {
			return err
		}
	}
	if err := put(d.disk, recordName, bytesOf(append(content, '\n'))); err != nil {
		return err
	}
	d.done = true
	return d.disk.SyncDir(".")
}

// dirs are the folders of the files written, inner ones first.
func (d *Draft) dirs() []string {
	var dirs []string
	for _, name := range d.written {
		for dir := path.Dir(name); ; dir = path.Dir(dir) {
			dirs = append(dirs, dir)
			if dir == "." {
				break
			}
		}
	}
	slices.SortFunc(dirs, func(a, b string) int { return len(b) - len(a) })
	return slices.Compact(dirs)
}

// undo removes what was written for a change that failed, as far as the disk lets
// it: the record does not name it.
func (d *Draft) undo() {
	if d.done {
		return
	}
	for _, name := range d.written {
		_ = d.disk.Remove(name)
		_ = d.disk.Remove(path.Dir(name)) // stays when there is something else in it
	}
}
