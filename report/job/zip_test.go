package job

import (
	"archive/zip"
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// realPhoto is a JPEG with a comment that tells a place.
func realPhoto(t testing.TB, name string) string {
	t.Helper()
	var b bytes.Buffer
	img := image.NewGray(image.Rect(0, 0, 16, 16))
	img.SetGray(3, 4, color.Gray{Y: 200})
	require.NoError(t, jpeg.Encode(&b, img, nil))
	file := append([]byte("\xff\xd8\xff\xfe\x00\x0dSecretville"), b.Bytes()[2:]...)
	return photo(t, name, string(file))
}

// sendable is a job with photos that are photos.
func sendable(t testing.TB) string {
	t.Helper()
	dir := newJob(t)
	require.NoError(t, Update(dir, func(d *Draft) error {
		return addMeasurement(d, AsFound, result(5, 0.5, 0.1), realPhoto(t, "front.jpg"), realPhoto(t, "rear.jpg"))
	}))
	require.NoError(t, Update(dir, func(d *Draft) error { return d.SetCameraProfile("phone.json", []byte("{}")) }))
	return dir
}

func TestExportAndTakeIn(t *testing.T) {
	dir := sendable(t)
	before := mustRead(t, dir)
	archive := filepath.Join(t.TempDir(), "sent.zip")
	leftOut, err := Export(dir, archive)
	require.NoError(t, err)
	assert.Empty(t, leftOut)
	assert.Equal(t, before, mustRead(t, dir), "the job itself stays as it is")
	raw, err := os.ReadFile(archive)
	require.NoError(t, err)
	assert.NotContains(t, string(raw), "Secretville")
	content, err := os.ReadFile(filepath.Join(dir, "photos/01-as-found/front.jpg"))
	require.NoError(t, err)
	assert.Contains(t, string(content), "Secretville", "here the photo is as it came")

	store := filepath.Join(t.TempDir(), "store")
	got, err := TakeIn(archive, store)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join(store, "job-1"), got)
	after := mustRead(t, got)
	for i, f := range after.Entries[0].Photos {
		assert.Equal(t, before.Entries[0].Photos[i].SHA256, f.OriginalSHA256)
		assert.NotEqual(t, f.SHA256, f.OriginalSHA256)
	}
	require.NoError(t, followsSchema(t, record(t, got)))

	// Sent on, it is the same: there is nothing more to take out.
	_, err = Export(got, filepath.Join(t.TempDir(), "again.zip"))
	require.NoError(t, err)
	assert.Equal(t, after, mustRead(t, got))
	_, err = TakeIn(archive, store)
	assert.ErrorContains(t, err, "is there already")
	assert.Equal(t, after, mustRead(t, got))
}

// What is damaged or no photo is left out and named, on both sides.
func TestExportNamesWhatItLeavesOut(t *testing.T) {
	dir := filled(t) // its photos are none
	require.NoError(t, os.Remove(filepath.Join(dir, "results/02-as-found.json")))
	archive := filepath.Join(t.TempDir(), "sent.zip")
	leftOut, err := Export(dir, archive)
	require.NoError(t, err)
	require.Len(t, leftOut, 4)
	assert.Equal(t, Damage{"results/02-as-found.json", "is missing", "missing"}, leftOut[0])
	assert.Contains(t, leftOut[1].What, "cannot be freed of location data")
	got, err := TakeIn(archive, t.TempDir())
	require.NoError(t, err)
	s, err := Inspect(got)
	require.NoError(t, err)
	assert.Len(t, s.Damage, 4)
}

func TestExportIntoAFullDiskLeavesNothing(t *testing.T) {
	_, err := Export(sendable(t), filepath.Join(t.TempDir(), "no", "such", "folder.zip"))
	assert.Error(t, err)
	_, err = Export(t.TempDir(), filepath.Join(t.TempDir(), "x.zip"))
	assert.ErrorIs(t, err, ErrNoJob)
}

// piece is a file of an archive made by hand.
type piece struct {
	name    string
	content string
	mode    fs.FileMode
}

func archiveOf(t testing.TB, pieces ...piece) string {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, p := range pieces {
		h := &zip.FileHeader{Name: p.name, Method: zip.Deflate}
		if p.mode != 0 {
			h.SetMode(p.mode)
		}
		w, err := z.CreateHeader(h)
		require.NoError(t, err)
		if !strings.HasSuffix(p.name, "/") {
			_, err = io.WriteString(w, p.content)
			require.NoError(t, err)
		}
	}
	require.NoError(t, z.Close())
	return photo(t, "sent.zip", b.String())
}

// Nothing of a bad archive is ever on the disk, inside the store or out of it.
func TestTakeInRefuses(t *testing.T) {
	dir := sendable(t)
	j := string(record(t, dir))
	front, err := os.ReadFile(filepath.Join(dir, "photos/01-as-found/front.jpg"))
	require.NoError(t, err)
	whole := piece{"job-1/job.json", j, 0}
	photoPath := "job-1/photos/01-as-found/front.jpg"
	naming := func(other string) piece {
		return piece{"job-1/job.json", strings.Replace(j, "photos/01-as-found/front.jpg", other, 1), 0}
	}
	tests := []struct {
		name   string
		pieces []piece
		what   string
	}{
		{"climbing out", []piece{whole, {"job-1/../../evil.jpg", "x", 0}}, "leads elsewhere"},
		{"climbing within", []piece{whole, {"job-1/photos/../job.json", "x", 0}}, "leads elsewhere"},
		{"parent", []piece{whole, {"../evil.jpg", "x", 0}}, "leads elsewhere"},
		{"absolute", []piece{whole, {"/etc/evil.jpg", "x", 0}}, "leads elsewhere"},
		{"drive", []piece{whole, {"C:/evil.jpg", "x", 0}}, "leads elsewhere"},
		{"backslash", []piece{whole, {`job-1\..\..\evil.jpg`, "x", 0}}, "leads elsewhere"},
		{"zero byte", []piece{whole, {"job-1/a\x00.jpg", "x", 0}}, "leads elsewhere"},
		{"no UTF-8", []piece{whole, {"job-1/\xff.jpg", "x", 0}}, "leads elsewhere"},
		{"doubled slash", []piece{whole, {"job-1//a.jpg", "x", 0}}, "leads elsewhere"},
		{"record names a path out", []piece{naming("photos/01-as-found/../../../evil.jpg")}, "is no place for one"},
		{"record names an absolute path", []piece{naming("/etc/passwd")}, "is no place for one"},
		{"record names itself", []piece{naming("job.json")}, "is no place for one"},
		{"record names a device of other systems", []piece{naming("photos/01-as-found/a:b.jpg")}, "is no place for one"},
		{"link", []piece{whole, {photoPath, "/etc/passwd", fs.ModeSymlink | 0o777}}, "no plain file"},
		{"link for a folder", []piece{whole, {"job-1/photos", "/tmp", fs.ModeSymlink | 0o777}}, "no plain file"},
		{"device", []piece{whole, {photoPath, "", fs.ModeDevice | 0o666}}, "no plain file"},
		{"pipe", []piece{whole, {photoPath, "", fs.ModeNamedPipe | 0o666}}, "no plain file"},
		{"twice", []piece{whole, {photoPath, "x", 0}, {photoPath, "y", 0}}, "twice"},
		{"twice but for the case", []piece{whole, {photoPath, "x", 0}, {strings.ToUpper(photoPath), "y", 0}}, "plain name"},
		{"twice in one folder but for the case", []piece{whole, {photoPath, "x", 0}, {"job-1/photos/01-as-found/FRONT.JPG", "y", 0}}, "twice"},
		{"two records", []piece{whole, whole}, "twice"},
		{"not named", []piece{whole, {"job-1/start.sh", "x", 0o777}}, "does not name"},
		{"hidden lock", []piece{whole, {"job-1/.lock", "x", 0}}, "does not name"},
		{"two folders", []piece{whole, {"job-2/a.jpg", "x", 0}}, "one folder"},
		{"no folder", []piece{{"job.json", j, 0}}, "one folder"},
		{"odd folder", []piece{{"-rf *\x1b[2J/job.json", j, 0}}, "plain name"},
		{"hidden folder", []piece{{".ssh/job.json", j, 0}}, "plain name"},
		{"no record", []piece{{photoPath, string(front), 0}}, "no job.json"},
		{"record is a folder", []piece{{"job-1/job.json/", "", fs.ModeDir | 0o755}}, "no job.json"},
		{"newer", []piece{{"job-1/job.json", strings.Replace(j, Schema, schemaName+"99", 1), 0}}, "newer rimpair"},
		{"damaged", []piece{{"job-1/job.json", j[:len(j)/2], 0}}, "damaged job"},
		{"text", []piece{{"job-1/job.json", "hello", 0}}, "damaged job"},
		{"bomb for a photo", []piece{whole, {photoPath, strings.Repeat("\x00", 3<<20), 0}}, "swells"},
		{"bomb for a record", []piece{{"job-1/job.json", j + strings.Repeat(" ", 3<<20), 0}}, "swells"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			above := t.TempDir()
			store := filepath.Join(above, "store")
			require.NoError(t, os.Mkdir(store, 0o755))
			_, err := takeIn(archiveOf(t, test.pieces...), store, 1<<20)
			require.Error(t, err)
			assert.Contains(t, err.Error(), test.what)
			var left []string
			require.NoError(t, fs.WalkDir(os.DirFS(above), ".", func(name string, _ fs.DirEntry, _ error) error {
				left = append(left, name)
				return nil
			}))
			assert.Equal(t, []string{".", "store"}, left)
		})
	}
}

// Two files of an archive that share their data, and sizes that lie, come to no more
// than is counted.
func TestTakeInBelievesNoSize(t *testing.T) {
	archive := archiveOf(t, piece{"job-1/job.json", string(record(t, sendable(t))), 0}, piece{"job-1/photos/01-as-found/front.jpg", "0123456789", 0})
	raw, err := os.ReadFile(archive)
	require.NoError(t, err)
	for at := 0; at < len(raw); at += 5 {
		spoilt := bytes.Clone(raw)
		spoilt[at] ^= 0xFF
		require.NoError(t, os.WriteFile(archive, spoilt, 0o600))
		store := t.TempDir()
		dir, err := TakeIn(archive, store)
		if err != nil {
			continue
		}
		_, err = Inspect(dir)
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(dir, store), dir)
	}
}

func TestTakeInEmptyAndOtherFiles(t *testing.T) {
	for _, content := range []string{"", "no zip", "PK\x03\x04"} {
		_, err := TakeIn(photo(t, "x.zip", content), t.TempDir())
		assert.Error(t, err)
	}
	many := make([]piece, mostFiles+1)
	for i := range many {
		many[i] = piece{fmt.Sprintf("job-1/%d", i), "", 0}
	}
	_, err := TakeIn(archiveOf(t, many...), t.TempDir())
	assert.ErrorContains(t, err, "files, more than")
}
