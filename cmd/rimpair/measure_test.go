package main

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"image"
	"image/jpeg"
	_ "image/png" // to decode the view from above
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/samples"
	"rimpair/vision"
)

// The command from end to end, on the sample photos of package samples.
const sampleDir = "../../samples/photos/plan-bench"

func samplePhotos(names ...string) []string {
	for i, name := range names {
		names[i] = filepath.Join(sampleDir, name+".jpg")
	}
	return names
}

func sampleTruth(t *testing.T) samples.StateTruth {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(sampleDir, "truth.json"))
	require.NoError(t, err)
	var truth samples.Truth
	require.NoError(t, json.Unmarshal(raw, &truth))
	return *truth.Photos[0].State
}

// measured runs rimpair measure --json, checks its answer against the schema and
// returns it.
func measured(t *testing.T, args ...string) measure.Result {
	t.Helper()
	code, stdout, stderr := cli(slices.Concat([]string{"measure", "--json"}, args)...)
	require.Equal(t, exitDone, code, "%s %s", stdout, stderr)
	requireSchema(t, stdout)
	var r measure.Result
	require.NoError(t, json.Unmarshal([]byte(stdout), &r))
	return r
}

func requireSchema(t *testing.T, text string) {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	schema, err := c.Compile("../../report/measurement.schema.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(doc))
}

func assertCovers(t *testing.T, what string, q measure.Quantity, truth float64) {
	t.Helper()
	assert.True(t, q.Low95 <= truth && truth <= q.High95, "%s: %.3f is not in %.3f to %.3f", what, truth, q.Low95, q.High95)
}

func TestMeasureSamplePhotos(t *testing.T) {
	truth := sampleTruth(t)
	bead := truth.Wheels.L.BeadSeatMm
	r := measured(t, append(samplePhotos("front", "rear", "above"), "--rim", fmt.Sprint(bead))...)

	assertCovers(t, "total toe", r.TotalToeMm, truth.TotalToeMm)
	assertCovers(t, "rim total toe", r.RimTotalToeMm, truth.RimTotalToeMm)
	assertCovers(t, "front gap", r.GapFrontMm, truth.GapFrontMm)
	assertCovers(t, "rear gap", r.GapRearMm, truth.GapRearMm)
	assertCovers(t, "track", r.TrackMm, truth.TrackMm)
	require.Len(t, r.Wheels, 2)
	for i, wheel := range []samples.WheelTruth{truth.Wheels.L, truth.Wheels.R} {
		assert.Equal(t, []string{"left", "right"}[i], r.Wheels[i].Side)
		assertCovers(t, r.Wheels[i].Side+" camber", r.Wheels[i].CamberDeg, wheel.RimCamberDeg)
		assertCovers(t, r.Wheels[i].Side+" rim", r.Wheels[i].RimDiameterMm, wheel.RimDiameterMm)
	}
	assert.InDelta(t, r.GapRearMm.Value-r.GapFrontMm.Value, r.RimTotalToeMm.Value, 0.05, "toe is what the two gaps differ by")
	assert.Greater(t, r.TotalToeMm.StandardUncertainty, r.RimTotalToeMm.StandardUncertainty, "run-out is charged")

	require.Len(t, r.Photos, 3)
	for i, name := range []string{"front.jpg", "rear.jpg", "above.jpg"} {
		assert.Equal(t, name, r.Photos[i].File)
		assert.Contains(t, r.Photos[i].Sheets, 2, name)
		assert.Greater(t, r.Photos[i].Corners, 12, name)
		assert.Less(t, r.Photos[i].CornerRmsPx, 0.3, "%s: corners are found to some 0.1 px", name)
	}
	require.GreaterOrEqual(t, len(r.Budget), 3)
	require.NotEmpty(t, r.Advice)
	halfWidth := (r.TotalToeMm.High95 - r.TotalToeMm.Low95) / 2
	for _, a := range r.Advice {
		assert.Less(t, a.PredictedHalfWidthMm, halfWidth, a.EnglishText)
	}
}

// Neither the photos' names nor their order mean anything.
func TestNamesAndOrderMeanNothing(t *testing.T) {
	dir := t.TempDir()
	var renamed []string
	for i, photo := range samplePhotos("above", "rear", "front") {
		file, err := os.ReadFile(photo)
		require.NoError(t, err)
		renamed = append(renamed, filepath.Join(dir, fmt.Sprintf("front%d.jpeg", i)))
		require.NoError(t, os.WriteFile(renamed[i], file, 0o600))
	}
	a := measured(t, samplePhotos("front", "rear", "above")...)
	b := measured(t, renamed...)
	// Sums in another order end elsewhere within the solver's tolerance, and points
	// are looked for around slightly other solutions.
	assert.InDelta(t, a.RimTotalToeMm.Value, b.RimTotalToeMm.Value, 0.25*a.RimTotalToeMm.StandardUncertainty)
	assert.InEpsilon(t, a.RimTotalToeMm.StandardUncertainty, b.RimTotalToeMm.StandardUncertainty, 0.1)
}

func TestMeasureOnePhoto(t *testing.T) {
	truth := sampleTruth(t)
	bead := fmt.Sprint(truth.Wheels.L.BeadSeatMm)
	all := measured(t, append(samplePhotos("front", "rear", "above"), "--rim", bead)...)
	one := measured(t, append(samplePhotos("above"), "--rim", bead)...)
	assertCovers(t, "total toe", one.TotalToeMm, truth.TotalToeMm)
	assertCovers(t, "rim total toe", one.RimTotalToeMm, truth.RimTotalToeMm)
	assert.Greater(t, one.RimTotalToeMm.StandardUncertainty, 2*all.RimTotalToeMm.StandardUncertainty)
	require.NotEmpty(t, one.Advice)
	assert.Equal(t, "photo", one.Advice[0].Action)
	assert.Contains(t, strings.Join(one.EnglishNotes, " "), "One photo")
}

func TestMeasureInWords(t *testing.T) {
	code, stdout, stderr := cli(append([]string{"measure", "--rim", "305"}, samplePhotos("front", "rear")...)...)
	assert.Equal(t, exitDone, code)
	assert.Empty(t, stderr)
	for _, words := range []string{"Total toe", "95 %", "track", "front.jpg", "rear.jpg"} {
		assert.Contains(t, stdout, words)
	}
}

// The size of the rims as a hand measures it in place of the bead seat's, or not at all;
// and the whole budget, which adds up to what is stated.
func TestMeasureExplained(t *testing.T) {
	truth := sampleTruth(t)
	outer := math.Round(truth.Wheels.L.RimDiameterMm)
	photos := samplePhotos("front", "rear")
	code, stdout, stderr := cli(append([]string{"measure", "--explain", "--rim-outer", fmt.Sprint(outer)}, photos...)...)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, stdout, fmt.Sprintf("outer diameter was taken as %.0f mm", outer))
	assert.Regexp(t, `rim size +B +[0-9.]+ mm +[0-9.e-]+ +[0-9.]+ +[0-9]+ % +∞`, stdout)
	assert.Contains(t, stdout, "k = 1.9")

	r := measured(t, photos...)
	assert.Contains(t, strings.Join(r.EnglishNotes, " "), fmt.Sprintf("taken as %.0f mm bead seat", truth.Wheels.L.BeadSeatMm))
	assertCovers(t, "rim total toe", r.RimTotalToeMm, truth.RimTotalToeMm)
	sum, shares := 0.0, 0.0
	for _, b := range r.Budget {
		assert.InDelta(t, b.ContributionMm, b.StandardUncertainty*b.Sensitivity, 1e-9, b.EnglishSource)
		sum, shares = math.Hypot(sum, b.ContributionMm), shares+b.Share
	}
	assert.InDelta(t, 1, shares, 1e-9)
	require.NotNil(t, r.Expanded)
	assert.InDelta(t, r.TotalToeMm.StandardUncertainty, sum, 1e-9)
	assert.InDelta(t, (r.TotalToeMm.High95-r.TotalToeMm.Low95)/2, r.Expanded.ExpandedUncertaintyMm, 1e-9)
}

// --out writes pictures of the photos' size, the view from above and the result;
// with --json, standard output is the result alone.
func TestMeasureWritesPictures(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "folder")
	code, stdout, stderr := cli(append([]string{"measure", "--rim", "305", "--json", "--out", dir}, samplePhotos("front", "rear")...)...)
	require.Equal(t, exitDone, code, stderr)
	requireSchema(t, stdout)
	files := strings.Fields(stderr)
	var want []string
	for _, name := range []string{"result.txt", "result.json", "front-marked.jpg", "rear-marked.jpg", "top-view.png"} {
		want = append(want, filepath.Join(dir, name))
	}
	assert.ElementsMatch(t, want, files)

	written, err := os.ReadFile(filepath.Join(dir, "result.json"))
	require.NoError(t, err)
	assert.JSONEq(t, stdout, string(written))
	for _, name := range []string{"front", "rear"} {
		photo, err := vision.Load(filepath.Join(sampleDir, name+".jpg"), vision.DefaultLimits())
		require.NoError(t, err)
		upright := image.Pt(photo.Gray.Width, photo.Gray.Height)
		if photo.Orientation >= 5 { // stored lying on its side (CIPA DC-008)
			upright = image.Pt(upright.Y, upright.X)
		}
		assert.Equal(t, upright, decoded(t, filepath.Join(dir, name+"-marked.jpg")).Bounds().Size(), name)
	}
	assert.Greater(t, decoded(t, filepath.Join(dir, "top-view.png")).Bounds().Dx(), 500)
}

func decoded(t *testing.T, path string) image.Image {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	picture, _, err := image.Decode(f)
	require.NoError(t, err)
	return picture
}

// Whatever is wrong with a file: one line that names it, exit code 3, no number; in
// JSON the same as an object that keeps the schema.
func TestBadFilesAreRefused(t *testing.T) {
	dir := t.TempDir()
	front := samplePhotos("front")[0]
	whole, err := os.ReadFile(front)
	require.NoError(t, err)
	put := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, content, 0o600))
		return path
	}
	tests := []struct {
		name, code, photo string
		args              []string
	}{
		{"text", "not_a_photo", "notes.jpg", []string{front, put("notes.jpg", []byte("Front tyres 3 bar.\n"))}},
		{"empty", "not_a_photo", "empty.jpg", []string{put("empty.jpg", nil)}},
		{"truncated", "truncated", "half.jpg", []string{put("half.jpg", whole[:len(whole)/2]), front}},
		{"two gigapixels", "too_large", "bomb.png", []string{put("bomb.png", pngOf(t, 50000, 40000))}},
		{"missing", "unreadable", "none.jpg", []string{filepath.Join(dir, "none.jpg")}},
		{"folder", "unreadable", filepath.Base(dir), []string{dir}},
		{"no sheet", "no_sheet", "grey.jpg", []string{front, put("grey.jpg", greyJPEG(t))}},
		{"twice", "same_photo_twice", "again.jpg", []string{front, put("again.jpg", whole)}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			code, stdout, stderr := cli(append([]string{"measure"}, test.args...)...)
			assert.Equal(t, exitRefused, code)
			assert.Empty(t, stdout)
			assert.Regexp(t, `^rimpair: no number: .*`+test.photo+`.*\[`+test.code+`\]\n$`, stderr)
			assert.Equal(t, 1, strings.Count(stderr, "\n"))

			code, stdout, stderr = cli(append([]string{"measure", "--json"}, test.args...)...)
			assert.Equal(t, exitRefused, code)
			assert.Empty(t, stderr)
			requireSchema(t, stdout)
			var answer map[string]vision.Refusal
			require.NoError(t, json.Unmarshal([]byte(stdout), &answer))
			assert.Equal(t, test.code, answer["refused"].Code)
			assert.Equal(t, test.photo, filepath.Base(answer["refused"].Photo))
			assert.Len(t, answer, 1)
		})
	}
}

// Nothing is written when there is no number.
func TestRefusalWritesNoFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "out")
	front := samplePhotos("front")[0]
	code, _, _ := cli("measure", front, front, "--out", dir)
	assert.Equal(t, exitRefused, code)
	assert.NoDirExists(t, dir)
}

func TestMeasureMistakesGetOneLine(t *testing.T) {
	front := samplePhotos("front")[0]
	for _, args := range [][]string{
		{"measure"},
		{"measure", front, "--rim", "20"},
		{"measure", front, "--rim", "26x1.75"},
		{"measure", front, "--rim-outer", "41.8"},
		{"measure", front, "--rim", "406", "--rim-outer", "418"},
		{"measure", front, "--runout", "-1"},
	} {
		code, stdout, stderr := cli(args...)
		assert.Equal(t, exitFailed, code, args)
		assert.Empty(t, stdout, args)
		assert.Regexp(t, `^rimpair: [^\n]+\n$`, stderr, args)
	}
}

// greyJPEG is a picture of nothing.
func greyJPEG(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 1600, 1200)), nil))
	return b.Bytes()
}

// pngOf is a whole, valid PNG of so many black pixels (ISO/IEC 15948), one bit each;
// it takes little room in the file and, decoded, much in memory.
func pngOf(t *testing.T, width, height int) []byte {
	t.Helper()
	var pixels bytes.Buffer
	packer, err := zlib.NewWriterLevel(&pixels, zlib.BestSpeed)
	require.NoError(t, err)
	row := make([]byte, 1+(width+7)/8)
	for range height {
		_, err := packer.Write(row)
		require.NoError(t, err)
	}
	require.NoError(t, packer.Close())
	file := []byte("\x89PNG\r\n\x1a\n")
	chunk := func(name string, data []byte) {
		file = binary.BigEndian.AppendUint32(file, uint32(len(data)))
		start := len(file)
		file = append(append(file, name...), data...)
		file = binary.BigEndian.AppendUint32(file, crc32.ChecksumIEEE(file[start:]))
	}
	size := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(width)), uint32(height))
	chunk("IHDR", append(size, 1, 0, 0, 0, 0))
	chunk("IDAT", pixels.Bytes())
	chunk("IEND", nil)
	return file
}
