package job

import (
	"errors"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	errFull = errors.New("no space left on device")
	errDead = errors.New("the process is no more")
)

// badDisk is a disk that gets full after so many bytes, or on which the process
// dies before one of its steps. It remembers what was not forced to the disk: a
// loss of power takes it away.
type badDisk struct {
	folder
	room  int // bytes, -1 for any number
	steps int // until the process dies, -1 for never
	dead  bool
	taken int // steps that were taken

	unsynced map[string]bool   // files whose content may be lost
	renames  map[string]rename // by new name: what may be undone
}

type rename struct {
	from, to string
	before   []byte // of to, nil when it was not there
}

func newBadDisk(f folder) *badDisk {
	return &badDisk{folder: f, room: -1, steps: -1, unsynced: map[string]bool{}, renames: map[string]rename{}}
}

func (d *badDisk) step() error {
	if d.dead || d.taken == d.steps {
		d.dead = true
		return errDead
	}
	d.taken++
	return nil
}

func (d *badDisk) MkdirAll(dir string) error {
	if err := d.step(); err != nil {
		return err
	}
	return d.folder.MkdirAll(dir)
}

func (d *badDisk) Create(name string) (file, error) {
	if err := d.step(); err != nil {
		return nil, err
	}
	f, err := d.folder.Create(name)
	d.unsynced[name] = true
	return &badFile{d, f, name}, err
}

func (d *badDisk) Rename(from, to string) error {
	if err := d.step(); err != nil {
		return err
	}
	before, err := d.ReadFile(to)
	if errors.Is(err, os.ErrNotExist) {
		before = nil
	}
	if err := d.folder.Rename(from, to); err != nil {
		return err
	}
	d.renames[to] = rename{from, to, before}
	if d.unsynced[from] {
		delete(d.unsynced, from)
		d.unsynced[to] = true
	}
	return nil
}

func (d *badDisk) Remove(name string) error {
	if err := d.step(); err != nil {
		return err
	}
	return d.folder.Remove(name)
}

func (d *badDisk) SyncDir(dir string) error {
	if err := d.step(); err != nil {
		return err
	}
	for to := range d.renames {
		if path.Dir(to) == dir {
			delete(d.renames, to)
		}
	}
	return nil // the disk of the tests need not whirr
}

// losePower takes away what nobody forced to the disk.
func (d *badDisk) losePower(t *testing.T) {
	for name := range d.unsynced {
		if content, err := d.ReadFile(name); err == nil {
			require.NoError(t, d.WriteFile(name, content[:len(content)/2], 0o600))
		}
	}
	for _, r := range d.renames {
		if r.before == nil {
			require.NoError(t, d.folder.Rename(r.to, r.from))
		} else {
			require.NoError(t, d.WriteFile(r.to, r.before, 0o600))
		}
	}
}

type badFile struct {
	disk *badDisk
	file
	name string
}

func (f *badFile) Write(b []byte) (int, error) {
	if err := f.disk.step(); err != nil {
		return 0, err
	}
	if f.disk.room < 0 {
		return f.file.Write(b)
	}
	n, err := f.file.Write(b[:min(len(b), f.disk.room)])
	f.disk.room -= n
	if err == nil && n < len(b) {
		err = errFull
	}
	return n, err
}

func (f *badFile) Sync() error {
	if err := f.disk.step(); err != nil {
		return err
	}
	delete(f.disk.unsynced, f.name)
	return nil
}

// step is what the faults interrupt: everything that can be written at once.
func step(photos ...string) func(*Draft) error {
	return func(d *Draft) error {
		if err := d.SetCameraProfile("other.json", []byte("[]")); err != nil {
			return err
		}
		return addMeasurement(d, Adjusted, result(1, 0.5, 0.1), photos...)
	}
}

// copyJob makes a copy to spoil.
func copyJob(t *testing.T, dir string) (string, folder) {
	t.Helper()
	to := filepath.Join(t.TempDir(), "job")
	require.NoError(t, os.CopyFS(to, os.DirFS(dir)))
	root, err := os.OpenRoot(to)
	require.NoError(t, err)
	t.Cleanup(func() { root.Close() })
	return to, folder{root}
}

// roomStep spares time; no file or write is that short.
const roomStep = 3

// After a disk got full at any byte, the record and all that it names are as before,
// nothing else is left, and the step can be taken again.
func TestFullDiskLeavesTheLastGoodState(t *testing.T) {
	original := filled(t)
	before := mustRead(t, original)
	front := photo(t, "front.jpg", strings.Repeat("new", 50))
	do := step(front)
	dir, f := copyJob(t, original)
	entries := before.Entries
	for room := 0; ; room += roomStep {
		d := newBadDisk(f)
		d.room = room
		err := update(d, dir, do)
		if err == nil {
			assert.Greater(t, room, 2000, "several files were interrupted at each of their bytes")
			break
		}
		require.ErrorIs(t, err, errFull)
		s, err := Inspect(dir)
		require.NoError(t, err)
		require.Empty(t, s.Damage, "after %d bytes", room)
		require.Equal(t, entries, s.Entries, "after %d bytes", room)
		require.Empty(t, s.Loose, "after %d bytes", room)
		require.Empty(t, unfinishedFiles(t, dir), "after %d bytes", room)
	}
	assert.Len(t, mustRead(t, dir).Entries, len(entries)+1)
}

func unfinishedFiles(t *testing.T, dir string) []string {
	t.Helper()
	var list []string
	for _, pattern := range []string{"*", "*/*", "*/*/*"} {
		names, err := filepath.Glob(filepath.Join(dir, pattern))
		require.NoError(t, err)
		for _, name := range names {
			if strings.HasPrefix(filepath.Base(name), unfinished) {
				list = append(list, name)
			}
		}
	}
	return list
}

// Wherever the process dies, with or without a loss of power, the record is the old
// or the new one, whole with all that it names; after it said "done" it is the new
// one; and work goes on.
func TestDeathAtAnyStepLeavesAGoodState(t *testing.T) {
	original := filled(t)
	before := mustRead(t, original)
	do := step(photo(t, "front.jpg", "new front"), photo(t, "rear.jpg", "new rear"))
	var seen []int
	for steps := 0; ; steps++ {
		for _, power := range []bool{true, false} {
			dir, f := copyJob(t, original)
			d := newBadDisk(f)
			d.steps = steps
			err := update(d, dir, do)
			if !power {
				d.losePower(t)
			}
			j := mustRead(t, dir)
			if err == nil {
				require.Len(t, j.Entries, len(before.Entries)+1)
			} else {
				require.ErrorIs(t, err, errDead)
				if len(j.Entries) == len(before.Entries) {
					require.Equal(t, before, j)
				}
			}
			seen = append(seen, len(j.Entries))
			require.NoError(t, Update(dir, do), "work goes on")
			require.Len(t, mustRead(t, dir).Entries, len(j.Entries)+1)
			if err == nil && !power {
				assert.Greater(t, steps, 25)
				counts := slices.Sorted(maps.Keys(count(seen)))
				assert.Equal(t, []int{len(before.Entries), len(before.Entries) + 1}, counts, "both states were seen")
				return
			}
		}
	}
}

func count(list []int) map[int]int {
	m := map[int]int{}
	for _, v := range list {
		m[v]++
	}
	return m
}

// The test's own disk is checked: writing without forcing to the disk is found out.
func TestBadDiskFindsMissingSyncs(t *testing.T) {
	dir, f := copyJob(t, filled(t))
	d := newBadDisk(f)
	w, err := d.Create("new.json")
	require.NoError(t, err)
	_, err = io.WriteString(w, "0123456789")
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.NoError(t, d.Rename("new.json", recordName))
	d.losePower(t)
	content := record(t, dir)
	assert.NotEqual(t, "0123456789", string(content))
}

// What fails in a change leaves nothing behind, and the change is not made.
func TestFailedChange(t *testing.T) {
	dir := filled(t)
	before := mustRead(t, dir)
	err := Update(dir, func(d *Draft) error {
		require.NoError(t, addMeasurement(d, Final, result(1, 0.5, 0.1), photo(t, "a.jpg", "a")))
		return errors.New("changed my mind")
	})
	require.EqualError(t, err, "changed my mind")
	s, err := Inspect(dir)
	require.NoError(t, err)
	assert.Equal(t, before, s.Job)
	assert.Empty(t, s.Loose)
}

func TestCreateKeepsWhatIsThere(t *testing.T) {
	dir := filled(t)
	before := record(t, dir)
	assert.ErrorContains(t, Create(dir, Job{}), "is there already")
	assert.Equal(t, before, record(t, dir))
	other := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(other, "novel.txt"), nil, 0o600))
	assert.ErrorContains(t, Create(other, Job{}), "not empty")
}
