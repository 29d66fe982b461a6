package job

import (
	"errors"
	"io"
	"os"
	"path"
	"path/filepath"
)

// disk is a job's folder as this package changes it. Names have slashes and stay in
// the folder. The tests put a disk in its place that gets full or loses power.
type disk interface {
	MkdirAll(dir string) error
	Create(name string) (file, error)
	Rename(from, to string) error
	Remove(name string) error
	SyncDir(dir string) error
}

// file is a file being written.
type file interface {
	io.WriteCloser
	Sync() error
}

// folder is the disk itself. It follows no link out of its root.
type folder struct{ *os.Root }

func (f folder) MkdirAll(dir string) error { return f.Root.MkdirAll(dir, 0o755) }

func (f folder) Create(name string) (file, error) { return f.Root.Create(name) }

func (f folder) SyncDir(dir string) error {
	d, err := f.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// unfinished begins the names of files being written.
const unfinished = ".unfinished-"

// put writes a file so that it is there whole or not at all. The folder that names
// it is still to be synced.
func put(d disk, name string, content func(io.Writer) error) error {
	temporary := path.Join(path.Dir(name), unfinished+path.Base(name))
	err := write(d, temporary, content)
	if err == nil {
		err = d.Rename(temporary, name)
	}
	if err != nil {
		_ = d.Remove(temporary) // it may not be there: what went wrong is said already
	}
	return err
}

func write(d disk, name string, content func(io.Writer) error) error {
	f, err := d.Create(name)
	if err != nil {
		return err
	}
	err = content(f)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// WriteFile writes a file that is no part of a record, whole or not at all.
func WriteFile(name string, content func(io.Writer) error) error {
	root, err := os.OpenRoot(filepath.Dir(name))
	if err != nil {
		return err
	}
	defer root.Close()
	d := folder{root}
	if err := put(d, filepath.Base(name), content); err != nil {
		return err
	}
	return d.SyncDir(".")
}
