package report

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"rimpair/calib"
	"rimpair/measure"
)

// twoPhotos writes two photos of the same name and returns a measurement of them.
func twoPhotos(t *testing.T) (m measure.Measurement, paths []string) {
	t.Helper()
	camera := measure.PlacedCamera{
		Camera: calib.Camera{F: 400, Cx: 200, Cy: 150},
		Pose:   lookingAt(r3.Vec{X: 150, Y: -251, Z: 1300}, r3.Vec{X: 150, Y: -250, Z: planeMm}),
	}
	m = synthetic(camera, camera)
	m.Result.Photos = nil
	m.Overlays = make([]measure.Overlay, 2)
	for _, folder := range []string{"a", "b"} {
		path := filepath.Join(t.TempDir(), folder, "front.png")
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		var w bytes.Buffer
		require.NoError(t, png.Encode(&w, image.NewGray(image.Rect(0, 0, 400, 300))))
		require.NoError(t, os.WriteFile(path, w.Bytes(), 0o644))
		paths = append(paths, path)
		m.Result.Photos = append(m.Result.Photos, measure.PhotoResult{File: path, Width: 400, Height: 300})
	}
	return m, paths
}

func TestWriteAll(t *testing.T) {
	m, paths := twoPhotos(t)
	dir := filepath.Join(t.TempDir(), "new", "folder")
	files, err := WriteAll(dir, m, paths, []int{1, 8})
	require.NoError(t, err)
	var names []string
	for _, f := range files {
		names = append(names, filepath.Base(f))
	}
	assert.Equal(t, []string{"result.txt", "result.json", "front-marked.jpg", "front-marked-2.jpg", "top-view.png"}, names)

	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	assert.Equal(t, resultText(t, m.Result), string(text))
	doc, err := os.ReadFile(files[1])
	require.NoError(t, err)
	assert.NoError(t, validate(t, doc))

	for i, want := range []image.Point{{X: 400, Y: 300}, {X: 300, Y: 400}} { // the second turned upright
		f, err := os.ReadFile(files[2+i])
		require.NoError(t, err)
		c, err := jpeg.DecodeConfig(bytes.NewReader(f))
		require.NoError(t, err)
		assert.Equal(t, want, image.Pt(c.Width, c.Height))
	}
	f, err := os.ReadFile(files[4])
	require.NoError(t, err)
	c, err := png.DecodeConfig(bytes.NewReader(f))
	require.NoError(t, err)
	assert.Greater(t, c.Width, 400*topPxPerMm)
}

func TestWriteAllRefusesWhatDoesNotBelongTogether(t *testing.T) {
	m, paths := twoPhotos(t)
	_, err := WriteAll(t.TempDir(), m, paths[:1], []int{1, 1})
	assert.ErrorContains(t, err, "1 paths")

	resized := m
	resized.Result.Photos = append([]measure.PhotoResult{}, m.Result.Photos...)
	resized.Result.Photos[1].Width = 401
	_, err = WriteAll(t.TempDir(), resized, paths, []int{1, 1})
	assert.ErrorContains(t, err, "misplaced")

	_, err = WriteAll(t.TempDir(), m, []string{paths[0], "missing.jpg"}, []int{1, 1})
	assert.ErrorIs(t, err, os.ErrNotExist)

	blocked := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(blocked, nil, 0o644))
	_, err = WriteAll(blocked, m, paths, []int{1, 1})
	assert.Error(t, err)
}

func TestMarkedNamesNeverCollide(t *testing.T) {
	assert.Equal(t,
		[]string{"front-marked.jpg", "FRONT-marked-2.jpg", "front-marked-3.jpg", "rear.view-marked.jpg"},
		markedNames([]string{"a/front.jpg", "b/FRONT.HEIC", "front.png", "rear.view.jpeg"}))
}
