package serve

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/report/job"
	judging "rimpair/report/review"
)

// packed is a zip file of names and contents; a name that ends in "->" is a link.
func packed(t *testing.T, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		h := &zip.FileHeader{Name: strings.TrimSuffix(files[i], "->"), Method: zip.Deflate}
		h.SetMode(0o644)
		if h.Name != files[i] {
			h.SetMode(fs.ModeSymlink | 0o777)
		}
		w, err := z.CreateHeader(h)
		require.NoError(t, err)
		_, err = io.WriteString(w, files[i+1])
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// nameReview "reviews" photos by listing names and contents.
func nameReview(_ context.Context, photos []ReviewPhoto, _ judging.Hold, progress func(string, int, int)) (any, []ReviewProblem, error) {
	list := []string{}
	for i, p := range photos {
		content, err := os.ReadFile(p.Path)
		if err != nil {
			return nil, nil, err
		}
		progress("look", i+1, len(photos))
		list = append(list, fmt.Sprintf("%s %.10s", p.Name, content))
	}
	slices.Sort(list)
	return list, nil, nil
}

type reviewSeen struct {
	State    string
	Groups   []string
	Problems []ReviewProblem
}

// review runs a review of files, by names, to its end.
func (r *running) review(files map[string][]byte) reviewSeen {
	r.t.Helper()
	status, content, _ := r.ask("POST", "/api/reviews", nil)
	require.Equal(r.t, http.StatusCreated, status, "%s", content)
	var made struct{ ID string }
	require.NoError(r.t, json.Unmarshal(content, &made))
	i := 0
	for name, file := range files {
		i++
		status, content, _ := r.ask("PUT", fmt.Sprintf("/api/reviews/%s/uploads/file-%04d?%s", made.ID, i, query("name", name)), bytes.NewReader(file))
		require.Equal(r.t, http.StatusCreated, status, "%s", content)
	}
	for range 2 { // a repeat is no mistake
		status, content, _ = r.ask("POST", "/api/reviews/"+made.ID+"/start", nil)
		require.Equal(r.t, http.StatusOK, status, "%s", content)
	}
	return r.reviewDone(made.ID)
}

func (r *running) reviewDone(id string) (v reviewSeen) {
	r.t.Helper()
	require.Eventually(r.t, func() bool {
		status, content, _ := r.ask("GET", "/api/reviews/"+id, nil)
		require.Equal(r.t, http.StatusOK, status)
		v = reviewSeen{}
		require.NoError(r.t, json.Unmarshal(content, &v))
		return v.State == "done"
	}, 20*time.Second, 10*time.Millisecond)
	return v
}

func TestReviewOfArchives(t *testing.T) {
	o := testOptions(t.TempDir())
	o.Review = nameReview
	r := start(t, o)
	v := r.review(map[string][]byte{
		"single.jpg": []byte("one"),
		"sent.zip": packed(t, "a/front.jpg", "two", "b/front.jpg", "three", "../../evil.jpg", "four", "/etc/evil.jpg", "five", "away.jpg->", "/etc/passwd",
			"__MACOSX/._front.jpg", "no", ".DS_Store", "no", "a/", ""),
		"broken.zip": []byte("PK no archive"),
	})
	assert.Equal(t, []string{"sent.zip/../../evil.jpg four", "sent.zip//etc/evil.jpg five", "sent.zip/a/front.jpg two", "sent.zip/b/front.jpg three", "single.jpg one"}, v.Groups)
	assert.Equal(t, []ReviewProblem{{Name: "broken.zip", Reason: "The archive cannot be read."}}, v.Problems)
	assert.NoFileExists(t, filepath.Join(o.Store, "..", "evil.jpg"))

	// What is done is there for the next run.
	r.end()
	require.NoError(t, <-r.done)
	r.done <- nil
	again := start(t, o)
	require.Len(t, again.reviews, 1)
	for id := range again.reviews {
		assert.Equal(t, v, again.reviewDone(id))
	}
}

// A small archive that swells is stopped where photos cannot be that large, one by
// one and together.
func TestReviewOfBombs(t *testing.T) {
	o := testOptions(t.TempDir())
	o.Review = nameReview
	r := start(t, o)
	zeroes := strings.Repeat("\x00", photoBytes+1)
	large := packed(t, "bomb.jpg", zeroes, "good.jpg", "good")
	require.Less(t, len(large), 1<<20)
	v := r.review(map[string][]byte{"bomb.zip": large})
	assert.Equal(t, []string{"bomb.zip/good.jpg good"}, v.Groups)
	require.Len(t, v.Problems, 1)
	assert.Contains(t, v.Problems[0].Reason, "swells beyond all measure")

	v = r.review(map[string][]byte{"bombs.zip": packed(t, "1.jpg", zeroes[1:], "2.jpg", zeroes[1:], "3.jpg", zeroes[1:], "4.jpg", zeroes[1:])})
	assert.Less(t, len(v.Groups), 3, "of so small an archive")
	assert.NotEmpty(t, v.Problems)

	var kept int64
	require.NoError(t, filepath.WalkDir(o.Store, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		kept += info.Size()
		return err
	}))
	assert.Less(t, kept, int64(photoBytes*3))
}

// A review and photos that arrive share the memory there is.
func TestReviewHoldsWhatUploadsMay(t *testing.T) {
	o := testOptions(t.TempDir())
	var s *Server
	o.Review = func(ctx context.Context, _ []ReviewPhoto, hold judging.Hold, _ func(string, int, int)) (any, []ReviewProblem, error) {
		most := int64(colourBytes * largePixels / judging.BytesPerPixel)
		for pixels, left := range map[int64]int64{most: heavyAtOnce - 1, most + colourBytes: 0} {
			release, err := hold(ctx, pixels)
			if err != nil {
				return nil, nil, err
			}
			assert.Equal(t, left > 0, s.heavy.TryAcquire(max(1, left)), "%d pixels", pixels)
			if left > 0 {
				s.heavy.Release(left)
			}
			release()
		}
		return []string{}, nil, nil
	}
	r := start(t, o)
	s = r.Server
	assert.Empty(t, r.review(map[string][]byte{"a.jpg": []byte("a")}).Problems)
	assert.True(t, s.heavy.TryAcquire(heavyAtOnce), "all is given back")
}

// A reviewer that fails in any way ends the review with a word, not the server.
func TestReviewThatFails(t *testing.T) {
	o := testOptions(t.TempDir())
	for _, fail := range []func(){func() { panic("bad photo") }, func() {}} {
		o.Review = func(context.Context, []ReviewPhoto, judging.Hold, func(string, int, int)) (any, []ReviewProblem, error) {
			fail()
			return []string{}, nil, errors.New("bad luck")
		}
		r := start(t, o)
		v := r.review(map[string][]byte{"a.jpg": []byte("a")})
		assert.Len(t, v.Problems, 1)
		r.end()
		require.NoError(t, <-r.done)
		r.done <- nil
	}
}

// Photos in the record already, because the server was killed between settling and
// clearing away, are not taken for new ones; a folder whose photo was not
// acknowledged goes.
func TestRecoveringAfterSettling(t *testing.T) {
	o := testOptions(t.TempDir())
	dir := filepath.Join(o.Store, "job")
	require.NoError(t, job.Create(dir, testJob()))
	s := spool(filepath.Join(dir, draftDir))
	settled := &shot{Key: "settled-1", Name: "front.jpg", Arrived: now()}
	require.NoError(t, s.put(settled, strings.NewReader("front")))
	require.NoError(t, s.put(&shot{Key: "waiting-1", Name: "rear.jpg", Arrived: now()}, strings.NewReader("rear")))
	require.NoError(t, job.Update(dir, func(d *job.Draft) error {
		e := job.Entry{At: now()}
		f, err := d.AddPhoto(&e, s.path(settled))
		e.Photos = []job.File{f}
		d.Append(e)
		return err
	}))
	unfinished := filepath.Join(string(s), "never-acknowledged")
	require.NoError(t, os.Mkdir(unfinished, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(unfinished, "front.jpg"), []byte("fro"), 0o600))

	r := start(t, o)
	photos := r.job("job").Photos
	require.Len(t, photos, 1)
	assert.Equal(t, "waiting-1", photos[0].Key)
	assert.NoDirExists(t, unfinished)
	assert.NoDirExists(t, filepath.Join(string(s), "settled-1"))
}

// On a full disk nothing is acknowledged, what was before is whole, and the server
// goes on when there is room again.
func TestFullDisk(t *testing.T) {
	store := t.TempDir()
	if err := syscall.Mount("tmpfs", store, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("a small disk takes the right to mount one: ", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(store, 0)) })
	r := start(t, testOptions(store))
	id := r.newJob()
	put := func(key string, bytes int64) (int, []byte) {
		status, content, _ := r.ask("PUT", "/api/jobs/"+id+"/uploads/"+key, io.LimitReader(zeros{}, bytes))
		return status, content
	}
	status, _ := put("small-one", 100_000)
	require.Equal(t, http.StatusCreated, status)
	status, content := put("large-one", 2_000_000)
	assert.Equal(t, http.StatusInsufficientStorage, status)
	assert.Equal(t, "disk", code(t, content))
	require.Len(t, r.job(id).Photos, 1)

	status, _ = put("filling-up", 700_000)
	require.Equal(t, http.StatusCreated, status)
	for i := range 20 { // down to the last block
		put(fmt.Sprintf("filling-%02d", i), 20_000)
	}
	status, content, _ = r.ask("POST", "/api/jobs", strings.NewReader(`{"reference": "another"}`))
	if status != http.StatusCreated {
		assert.Equal(t, "disk", code(t, content))
	}
	acknowledged := r.job(id).Photos
	for _, p := range acknowledged {
		info, err := os.Stat(filepath.Join(store, id, draftDir, p.Key, "file"))
		require.NoError(t, err)
		assert.Contains(t, []int64{100_000, 700_000, 20_000}, info.Size(), p.Key)
	}
	_, damage, err := job.Read(filepath.Join(store, id))
	require.NoError(t, err)
	assert.Empty(t, damage)
	status, _, _ = r.ask("DELETE", "/api/jobs/"+id+"/uploads/filling-up", nil)
	require.Equal(t, http.StatusOK, status)
	status, _ = put("large-two", 500_000)
	assert.Equal(t, http.StatusCreated, status)
}
