package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/samples"
	"rimpair/vision"
)

// TestMain keeps the profiles of whoever runs the tests out of them.
func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "rimpair-config")
	if err == nil {
		err = os.Setenv("XDG_CONFIG_HOME", dir)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// chessboardPhotos are those of the Debian package opencv-doc.
func chessboardPhotos(t *testing.T) []string {
	t.Helper()
	root, required := os.LookupEnv("RIMPAIR_REFERENCES")
	if !required {
		root = "../../.references"
	}
	paths, err := filepath.Glob(filepath.Join(root, "opencv", "left*.jpg"))
	require.NoError(t, err)
	if len(paths) == 0 {
		require.False(t, required, "no chessboard photos in %s", root)
		t.Skip("no chessboard photos: run tools/fetch-references")
	}
	return paths
}

// Real photos from end to end: photos without a board are named and left out, the
// profile can be read, and holds the numbers that were shown.
func TestCameraFromChessboards(t *testing.T) {
	photos := chessboardPhotos(t)
	dir := t.TempDir()
	grey, notes := filepath.Join(dir, "grey.jpg"), filepath.Join(dir, "notes.jpg")
	require.NoError(t, os.WriteFile(grey, greyJPEG(t), 0o600))
	require.NoError(t, os.WriteFile(notes, []byte("no photo"), 0o600))
	file := filepath.Join(dir, "camera.json")

	code, stdout, stderr := cli(append([]string{"camera", "--chessboard", "9x6", "--square", "25", "-o", file, grey, notes}, photos...)...)
	require.Equal(t, exitDone, code, stderr)
	_, left, _ := strings.Cut(stdout, "Left out")
	left, _, _ = strings.Cut(left, "Coverage")
	assert.Contains(t, left, "grey.jpg: No chessboard")
	assert.Contains(t, left, "notes.jpg: ")
	p, err := calib.LoadProfile(file)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, p.Photos, 12)
	assert.Len(t, p.PhotoHashes, p.Photos)
	assert.Equal(t, 640, p.Device.Width)
	// The published focal length of these photos (left_intrinsics.yml there), which is
	// itself good to about half a per cent: see measure/chessboard_test.go.
	assert.InEpsilon(t, 535.9, p.Values[0], 0.01)
	assert.Contains(t, stdout, fmt.Sprintf("%.1f", p.Values[0]))
	for _, line := range strings.Split(stdout, "\n") {
		assert.LessOrEqual(t, len([]rune(line)), 80+len(file), line)
	}

	code, _, stderr = cli(append([]string{"camera", "--chessboard", "9x6"}, photos...)...)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, stderr, "-o", "photos that name no phone need a file")
}

func TestCameraRefusals(t *testing.T) {
	code, stdout, stderr := cli(append([]string{"camera", "-o", filepath.Join(t.TempDir(), "c.json")}, samplePhotos("front", "rear", "above")...)...)
	assert.Equal(t, exitRefused, code)
	assert.Empty(t, stdout)
	assert.Contains(t, stderr, "[too_few_views]")
	assert.Contains(t, stderr, "Only 3 photos")
}

func TestCameraMistakesGetOneLine(t *testing.T) {
	for _, args := range [][]string{
		{"camera"},
		{"camera", "a.jpg", "--chessboard", "9"},
		{"camera", "a.jpg", "--chessboard", "2x2"},
		{"camera", "a.jpg", "--chessboard", "9x6x2"},
		{"camera", "a.jpg", "--chessboard", "900x6"},
		{"camera", "a.jpg", "--chessboard", "9x6", "--square", "-3"},
	} {
		code, stdout, stderr := cli(args...)
		assert.Equal(t, exitFailed, code, args)
		assert.Empty(t, stdout, args)
		assert.Regexp(t, `^rimpair: [^\n]+\n$`, stderr, args)
	}
}

// sampleProfile is of the camera that the sample photos were taken with, as good as a
// calibration makes it.
func sampleProfile(t *testing.T) calib.Profile {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(sampleDir, "truth.json"))
	require.NoError(t, err)
	var truth samples.Truth
	require.NoError(t, json.Unmarshal(raw, &truth))
	var c calib.Camera
	n := float64(len(truth.Photos))
	for _, p := range truth.Photos {
		c.F, c.Cx, c.Cy = c.F+p.CameraMatrix[0][0]/n, c.Cx+p.CameraMatrix[0][2]/n, c.Cy+p.CameraMatrix[1][2]/n
		c.K1, c.K2, c.P1, c.P2 = p.Distortion[0], p.Distortion[1], p.Distortion[2], p.Distortion[3]
	}
	photo, err := vision.Load(samplePhotos("above")[0], vision.DefaultLimits())
	require.NoError(t, err)
	u := []float64{3, 2, 2, 5e-4, 1e-3, 5e-5, 5e-5}
	covariance := mat.NewSymDense(len(u), nil)
	for i := range u {
		covariance.SetSym(i, i, u[i]*u[i])
	}
	p := calib.NewProfile(calib.Device(photo.Camera), c, covariance)
	p.Created, p.Photos, p.PhotoHashes = "2026-05-01", 12, []string{}
	return p
}

func saved(t *testing.T, p calib.Profile) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "camera.json")
	require.NoError(t, p.Save(file))
	return file
}

// A calibrated camera narrows a single photo's interval, named or found by itself.
func TestMeasureWithProfile(t *testing.T) {
	truth := sampleTruth(t)
	photo := samplePhotos("above")[0]
	rim := fmt.Sprint(truth.Wheels.L.BeadSeatMm)
	p := sampleProfile(t)

	without := measured(t, photo, "--rim", rim)
	with := measured(t, photo, "--rim", rim, "--camera", saved(t, p))
	assertCovers(t, "rim total toe", with.RimTotalToeMm, truth.RimTotalToeMm)
	assert.Less(t, with.RimTotalToeMm.StandardUncertainty, without.RimTotalToeMm.StandardUncertainty/2)
	sources := func(r measure.Result) (list []string) {
		for _, line := range r.Budget {
			list = append(list, line.EnglishSource)
		}
		return list
	}
	assert.Contains(t, sources(with), "camera profile")
	assert.Contains(t, strings.Join(with.EnglishNotes, " "), "profile of 2026-05-01, made from 12 photos")
	assert.NotContains(t, strings.Join(without.EnglishNotes, " "), "profile")

	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	_, err := saveProfile(&p, "")
	require.NoError(t, err)
	found := measured(t, photo, "--rim", rim)
	assert.Equal(t, with.RimTotalToeMm, found.RimTotalToeMm)
}

// A broken file in the profiles folder is left out with a word on standard error, and
// the good one beside it is taken; named, it fails.
func TestBrokenProfile(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	p := sampleProfile(t)
	good, err := saveProfile(&p, "")
	require.NoError(t, err)
	broken := filepath.Join(filepath.Dir(good), "broken.json")
	require.NoError(t, os.WriteFile(broken, []byte("{"), 0o600))
	input, err := loadInput(samplePhotos("above")[0])
	require.NoError(t, err)

	said, err := os.Create(filepath.Join(t.TempDir(), "said"))
	require.NoError(t, err)
	terminal := os.Stderr
	os.Stderr = said
	cameras, err := camerasFor([]measure.Input{input}, "")
	os.Stderr = terminal
	require.NoError(t, err)
	require.NotNil(t, cameras[input.Photo.Camera])
	assert.Equal(t, p.Values, cameras[input.Photo.Camera].Values)
	words, err := os.ReadFile(said.Name())
	require.NoError(t, err)
	assert.Contains(t, string(words), broken)

	_, err = camerasFor([]measure.Input{input}, broken)
	assert.ErrorContains(t, err, broken)
}

// A profile that does not hold is refused: by EXIF, and by what the sheets show.
func TestMeasureRefusesProfiles(t *testing.T) {
	for name, c := range map[string]struct {
		edit  func(*calib.Profile)
		words string
	}{
		"of another model": {func(p *calib.Profile) { p.Device.Model = "Quince 3" }, "Quince 3"},
		"zoomed":           {func(p *calib.Profile) { p.Device.Focal35Mm *= 2 }, "zoom"},
		"cropped":          {func(p *calib.Profile) { p.Device.Height = p.Device.Height * 9 / 10 }, "cropped"},
		// EXIF says nothing, but the sheets do.
		"of another lens": {func(p *calib.Profile) { p.Values[0] *= 1.06 }, "by the sheets the focal length is"},
		"off centre":      {func(p *calib.Profile) { p.Values[1] += 120 }, "does not hold"},
	} {
		t.Run(name, func(t *testing.T) {
			p := sampleProfile(t)
			c.edit(&p)
			code, stdout, _ := cli(append([]string{"measure", "--json", "--camera", saved(t, p)}, samplePhotos("front", "rear")...)...)
			require.Equal(t, exitRefused, code, stdout)
			var answer map[string]vision.Refusal
			require.NoError(t, json.Unmarshal([]byte(stdout), &answer))
			assert.Equal(t, "camera_mismatch", answer["refused"].Code)
			assert.Contains(t, answer["refused"].Reason, c.words)
		})
	}
	t.Run("newer", func(t *testing.T) {
		p := sampleProfile(t)
		p.Schema = "rimpair/camera/2"
		code, _, stderr := cli("measure", samplePhotos("front")[0], "--camera", saved(t, p))
		assert.Equal(t, exitFailed, code)
		assert.Contains(t, stderr, "newer rimpair")
	})
}

// measure --learn asks, keeps what it may, and does not count photos twice.
func TestMeasureLearns(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	learn := func(answer string) string {
		root := newRootCommand()
		var out, asked bytes.Buffer
		root.SetArgs(append([]string{"measure", "--learn", "--rim", fmt.Sprint(sampleTruth(t).Wheels.L.BeadSeatMm)}, samplePhotos("front", "rear")...))
		root.SetIn(strings.NewReader(answer))
		root.SetOut(&out)
		root.SetErr(&asked)
		require.NoError(t, root.Execute())
		return asked.String()
	}
	profiles := func() []string {
		folder, err := calib.ProfileFolder()
		require.NoError(t, err)
		files, err := filepath.Glob(filepath.Join(folder, "*"))
		require.NoError(t, err)
		return files
	}
	for _, answer := range []string{"", "n\n"} {
		assert.Contains(t, learn(answer), "Keep it as")
		assert.Empty(t, profiles(), "not asked for")
	}
	assert.Contains(t, learn("y\n"), "Keep it as")
	require.Len(t, profiles(), 1)
	p, err := calib.LoadProfile(profiles()[0])
	require.NoError(t, err)
	assert.Equal(t, 2, p.Photos)
	truth := sampleProfile(t)
	// Within four standard uncertainties of the truth, which is the mean of three photos
	// between which the lens moved by 0.2 %.
	for i := range 3 {
		assert.InDelta(t, truth.Values[i], p.Values[i], 4*p.StandardUncertainty(i), p.Parameters[i])
	}
	assert.Contains(t, learn("y\n"), "no more of the camera", "the same photos again tell nothing")
}
