package job

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each damage is named, and what is whole is still there.
func TestDamageIsNamed(t *testing.T) {
	change := func(name string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("scribble"), 0o600))
		}
	}
	remove := func(name string) func(*testing.T, string) {
		return func(t *testing.T, dir string) { require.NoError(t, os.Remove(filepath.Join(dir, name))) }
	}
	edit := func(old, now string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			content := string(record(t, dir))
			require.Contains(t, content, old)
			require.NoError(t, os.WriteFile(filepath.Join(dir, recordName), []byte(strings.Replace(content, old, now, 1)), 0o600))
		}
	}
	cut := func(at string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			before, _, ok := strings.Cut(string(record(t, dir)), at)
			require.True(t, ok)
			require.NoError(t, os.WriteFile(filepath.Join(dir, recordName), []byte(before), 0o600))
		}
	}
	tests := []struct {
		name             string
		spoil            func(*testing.T, string)
		file, what       string
		entries, results int
	}{
		{"photo missing", remove("photos/02-as-found/rear.jpg"), "photos/02-as-found/rear.jpg", "is missing", 4, 1},
		{"photo changed", change("photos/02-as-found/rear.jpg"), "photos/02-as-found/rear.jpg", "SHA-256 differs", 4, 1},
		{"result missing", remove("results/02-as-found.json"), "results/02-as-found.json", "is missing", 4, 0},
		{"result changed", change("results/02-as-found.json"), "results/02-as-found.json", "SHA-256 differs", 4, 0},
		{"profile missing", remove("camera/phone.json"), "camera/phone.json", "is missing", 4, 1},
		{"record ends early", cut("the rider came by"), recordName, "is broken at line ", 3, 1},
		{"record ends in a check", cut(`"spokes"`), recordName, "is broken at line ", 0, 0},
		{"comma lost", edit("},\n    {\n      \"at\": \"2026-03-04T12:00:00Z\",\n      \"adjustment\"", "}\n    {\n      \"at\": \"2026-03-04T12:00:00Z\",\n      \"adjustment\""), recordName, "2 entries before that can be read", 2, 1},
		{"record empty", cut("{"), recordName, "is broken at line 1 (EOF)", 0, 0},
		{"toe edited", edit(`"value": 5,`, `"value": 4.9,`), "results/02-as-found.json", "another toe", 4, 0},
		{"stage edited", edit(`"as_found"`, `"perfect"`), recordName, `unreadable entry 2 (entry 1 is of a stage "perfect"`, 3, 0},
		{"text for a number", edit(`"rim_mm": 406`, `"rim_mm": "big"`), recordName, `unreadable "vehicle"`, 4, 1},
		{"a key of somebody else", edit(`"reference"`, `"colour": "red", "reference"`), recordName, `unreadable "colour"`, 4, 1},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			dir := filled(t)
			test.spoil(t, dir)
			s, err := Inspect(dir)
			require.NoError(t, err)
			require.Len(t, s.Damage, 1)
			assert.Equal(t, test.file, s.Damage[0].File)
			assert.Contains(t, s.Damage[0].What, test.what)
			assert.Len(t, s.Entries, test.entries)
			assert.Len(t, s.Results, test.results)

			// What is lost is not written over; what is whole can be gone on with.
			before := record(t, dir)
			err = Update(dir, func(d *Draft) error { d.Append(Entry{At: noon, Note: "more"}); return nil })
			if test.file == recordName {
				assert.ErrorContains(t, err, "is damaged")
				assert.Equal(t, before, record(t, dir))
			} else {
				assert.NoError(t, err)
			}
		})
	}
}

// However a record is cut off, it is read as far as it goes.
func TestRecordCutAnywhere(t *testing.T) {
	whole := record(t, filled(t))
	last := 0
	for n := 1; n < len(whole)-2; n++ {
		j, damage, err := decode(whole[:n])
		require.NoError(t, err, n)
		require.NotEmpty(t, damage, n)
		require.GreaterOrEqual(t, len(j.Entries), last, n)
		last = len(j.Entries)
	}
	assert.Equal(t, 4, last)
}

func TestLooseFilesAreNamed(t *testing.T) {
	dir := filled(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "photos", "holiday.jpg"), nil, 0o600))
	s, err := Inspect(dir)
	require.NoError(t, err)
	assert.Empty(t, s.Damage)
	assert.Equal(t, []string{"photos/holiday.jpg"}, s.Loose)
}

func TestNewerRecordIsRefused(t *testing.T) {
	dir := filled(t)
	newer := fmt.Sprintf("%s%d", schemaName, schemaVersion+1)
	content := strings.Replace(string(record(t, dir)), Schema, newer, 1)
	content = strings.Replace(content, `"created"`, `"born"`, 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, recordName), []byte(content), 0o600))
	_, _, err := Read(dir)
	assert.ErrorContains(t, err, "was written by a newer rimpair ("+newer+", this one reads up to "+Schema+")")
	assert.Error(t, Update(dir, func(*Draft) error { return nil }))
	assert.Equal(t, content, string(record(t, dir)))
}

// A job of an older version is read, all of it, and stays as it is until something is
// added; then it is one of this version.
func TestOlderJobIsRead(t *testing.T) {
	for _, version := range []string{"1", "2", "3"} {
		t.Run(version, func(t *testing.T) { requireOlderIsRead(t, version) })
	}
}

func requireOlderIsRead(t *testing.T, version string) {
	dir, _ := copyJob(t, filepath.Join("testdata", "version-"+version))
	before := record(t, dir)
	require.Contains(t, string(before), `"rimpair/job/`+version+`"`)
	j := mustRead(t, dir)
	now := mustRead(t, filled(t))
	assert.Equal(t, now, j)
	assert.Equal(t, before, record(t, dir))

	require.NoError(t, Update(dir, func(d *Draft) error { d.Append(Entry{At: noon, Note: "more"}); return nil }))
	assert.Contains(t, string(record(t, dir)), Schema)
	assert.NoError(t, followsSchema(t, record(t, dir)))
	assert.Len(t, mustRead(t, dir).Entries, len(j.Entries)+1)

	store := filepath.Dir(dir)
	listed, err := List(store)
	require.NoError(t, err)
	require.Len(t, listed, 1)
	assert.Empty(t, listed[0].Damage)
}

func TestNoJob(t *testing.T) {
	_, _, err := Read(t.TempDir())
	assert.ErrorIs(t, err, ErrNoJob)
	for _, content := range []string{`{}`, `{"schema": "rimpair/measurement/1"}`, `{"schema": 7}`, `{"schema": "rimpair/job/0"}`, `{"schema": "rimpair/job/x"}`} {
		_, _, err := decode([]byte(content))
		assert.Error(t, err, content)
	}
}

// A link in the folder leads nowhere else.
func TestLinkOutOfTheFolder(t *testing.T) {
	dir := filled(t)
	outside := photo(t, "secret.txt", "front")
	name := filepath.Join(dir, "photos/02-as-found/front.jpg")
	require.NoError(t, os.Remove(name))
	require.NoError(t, os.Symlink(outside, name))
	s, err := Inspect(dir)
	require.NoError(t, err)
	require.Len(t, s.Damage, 1)
	assert.Contains(t, s.Damage[0].What, "cannot be read")
}
