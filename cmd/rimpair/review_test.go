package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report"
)

// hugePNG says that it has 10^10 pixels.
func hugePNG() []byte {
	b := []byte("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		b = binary.BigEndian.AppendUint32(b, uint32(len(data)))
		body := append([]byte(kind), data...)
		b = binary.BigEndian.AppendUint32(append(b, body...), crc32.ChecksumIEEE(body))
	}
	size := binary.BigEndian.AppendUint32(nil, 100_000)
	chunk("IHDR", append(append(size, size...), 8, 0, 0, 0, 0))
	chunk("IDAT", []byte{0x78, 0x9c})
	chunk("IEND", nil)
	return b
}

// inbox is what came: a set with a damaged photo and a copy, files that are no photos,
// and an archive of a single photo whose name leads elsewhere.
func inbox(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	put := func(name string, content []byte) {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, content, 0o644))
	}
	photos := map[string][]byte{}
	for _, path := range samplePhotos("front", "rear", "above") {
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		photos[filepath.Base(path)] = content
		put("first/"+filepath.Base(path), content)
	}
	put("first/rear copy.jpg", photos["rear.jpg"])
	put("first/cut.jpg", photos["front.jpg"][:100_000])
	put("junk/words.jpg", []byte("no photo"))
	put("junk/empty.heic", nil)
	put("junk/huge.png", hugePNG())
	put("junk/notes.txt", []byte("not looked at"))
	require.NoError(t, os.Symlink("..", filepath.Join(dir, "junk", "again")))
	var packed bytes.Buffer
	z := zip.NewWriter(&packed)
	w, err := z.Create("../../away/above.jpg")
	require.NoError(t, err)
	_, err = w.Write(photos["above.jpg"])
	require.NoError(t, err)
	require.NoError(t, z.Close())
	put("second.zip", packed.Bytes())
	put("broken.zip", []byte("PK no archive"))
	return dir
}

func TestReview(t *testing.T) {
	dir, replies := inbox(t), filepath.Join(t.TempDir(), "replies")
	code, stdout, stderr := cli("review", dir, "--json", "--reply", replies, "--language", "de", "--camera", "none")
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, stderr, "broken.zip")
	assert.NotContains(t, stderr, "\r", "no bar where nobody looks")
	requireReviewSchema(t, stdout)
	var found struct {
		Groups []report.ReviewGroup
		Loose  []report.ReviewPhoto
	}
	require.NoError(t, json.Unmarshal([]byte(stdout), &found))
	require.Len(t, found.Groups, 2)
	verdicts := map[string]string{}
	for _, p := range found.Loose {
		verdicts[p.Name] = p.Judgement.Findings[0].Code
	}
	assert.Equal(t, map[string]string{"junk/words.jpg": "not_a_photo", "junk/empty.heic": "not_a_photo", "junk/huge.png": "too_large"}, verdicts)

	first, second := found.Groups[0], found.Groups[1]
	assert.Equal(t, "first", first.Folder)
	assert.Len(t, first.Photos, 5)
	assert.Equal(t, "truncated", first.Photos[4].Judgement.Findings[0].Code)
	require.Len(t, first.States, 1)
	assert.Len(t, first.States[0].Photos, 3)
	truthMm := sampleTruth(t).RimTotalToeMm
	assertCovers(t, "toe of the set", first.States[0].Result.RimTotalToeMm, truthMm)
	assert.Equal(t, "second.zip/../../away", second.Folder)
	require.Len(t, second.States, 1)
	assertCovers(t, "toe of the photo alone", second.States[0].Result.RimTotalToeMm, truthMm)

	files, err := os.ReadDir(replies)
	require.NoError(t, err)
	require.Len(t, files, 2)
	reply, err := os.ReadFile(filepath.Join(replies, "1-first.txt"))
	require.NoError(t, err)
	assert.Equal(t, first.Reply["de"], string(reply))
	assert.Contains(t, string(reply), "mm Vorspur ±")
}

func requireReviewSchema(t *testing.T, text string) {
	t.Helper()
	c := jsonschema.NewCompiler()
	for name, id := range map[string]string{"measurement": "urn:rimpair:measurement:1", "review": "urn:rimpair:review:1"} {
		f, err := os.Open("../../report/" + name + ".schema.json")
		require.NoError(t, err)
		defer f.Close()
		doc, err := jsonschema.UnmarshalJSON(f)
		require.NoError(t, err)
		require.NoError(t, c.AddResource(id, doc))
	}
	schema, err := c.Compile("urn:rimpair:review:1")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader([]byte(text)))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(doc))
}

func TestReviewExitCodes(t *testing.T) {
	dir := t.TempDir()
	code, _, stderr := cli("review", dir)
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, stderr, "there is no photo in")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.jpg"), []byte("no photo"), 0o644))
	code, stdout, _ := cli("review", dir)
	assert.Equal(t, exitRefused, code)
	assert.Contains(t, stdout, "a.jpg: The file is no photo.")
	code, _, _ = cli("review", dir, "--language", "xx")
	assert.Equal(t, exitFailed, code)
	code, _, _ = cli("review", filepath.Join(dir, "not there"))
	assert.Equal(t, exitFailed, code)
}

// Who interrupts a review gets the terminal back at once, and nothing half written.
func TestReviewInterrupted(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	time.AfterFunc(200*time.Millisecond, stop)
	var stdout, stderr bytes.Buffer
	replies := filepath.Join(t.TempDir(), "replies")
	err := runReview(ctx, samplePhotos("front", "rear", "above"), reviewFlags{language: "en", camera: "none", reply: replies}, &stdout, &stderr)
	require.ErrorIs(t, err, context.Canceled)
	assert.Empty(t, stdout.String())
	assert.NoDirExists(t, replies)
}
