package serve

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report/job"
	judging "rimpair/report/review"
	"rimpair/vision"
)

// pages stand in for the real ones.
func pages() fstest.MapFS {
	return fstest.MapFS{"index.html": {Data: []byte("<!DOCTYPE html>")}, "assets/app.js": {Data: []byte("//")}}
}

// testOptions judge by the file alone and measure nothing: what these tests ask
// about is what is around it. process_test.go measures photos.
func testOptions(store string) Options {
	return Options{
		Store: store, Language: "en", Version: "test", RunoutMm: 1, Pages: pages(),
		Judge: func(*vision.Photo, float64, time.Time) judging.Judgement {
			return judging.Judgement{Verdict: judging.Good}
		},
		Measure: func(positions []Position, _ measure.Settings, _ string) (*measure.Measurement, []measure.Input, error) {
			return nil, nil, &vision.Refusal{Code: "wheels_not_found", Photo: positions[0].Paths[0], Reason: "No.", Remedy: "Yes."}
		},
	}
}

// running is a server on the loopback interface.
type running struct {
	*Server
	t    *testing.T
	base string
	end  func() // as SIGTERM does
	done chan error
}

func start(t *testing.T, o Options) *running {
	t.Helper()
	s, err := New(o)
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, end := context.WithCancel(t.Context())
	r := &running{Server: s, t: t, base: "http://" + listener.Addr().String(), end: end, done: make(chan error, 1)}
	go func() {
		err := s.Serve(ctx, listener)
		if e := s.Close(); err == nil {
			err = e
		}
		r.done <- err
	}()
	t.Cleanup(func() {
		end()
		require.NoError(t, <-r.done)
		r.done <- nil
	})
	return r
}

// ask sends a request as a page does; set changes it.
func (r *running) ask(method, path string, body io.Reader, set ...func(*http.Request)) (status int, content []byte, answered *http.Response) {
	r.t.Helper()
	q, err := http.NewRequestWithContext(r.t.Context(), method, r.base+path, body)
	require.NoError(r.t, err)
	q.Header.Set("X-Rimpair", "1")
	for _, f := range set {
		f(q)
	}
	answered, err = http.DefaultClient.Do(q)
	require.NoError(r.t, err)
	defer answered.Body.Close()
	content, err = io.ReadAll(answered.Body)
	require.NoError(r.t, err)
	return answered.StatusCode, content, answered
}

// code is the code of an error.
func code(t *testing.T, content []byte) string {
	t.Helper()
	var e struct {
		Error struct{ Code, Reason, Remedy string }
	}
	require.NoError(t, json.Unmarshal(content, &e), "%s", content)
	require.NotEmpty(t, e.Error.Reason)
	require.NotEmpty(t, e.Error.Remedy)
	return e.Error.Code
}

func (r *running) newJob() string {
	r.t.Helper()
	status, content, _ := r.ask("POST", "/api/jobs", strings.NewReader(`{"reference": "7", "vehicle": {"rim_mm": 305}}`))
	require.Equal(r.t, http.StatusCreated, status, "%s", content)
	var made struct{ ID string }
	require.NoError(r.t, json.Unmarshal(content, &made))
	return made.ID
}

// job reads a job as pages do.
func (r *running) job(id string) (v struct {
	Photos []struct {
		Key, Name, Position string
		Judgement           *struct{ Verdict string }
	}
	Measured *struct {
		State   string
		Result  *measure.Result
		Refused *vision.Refusal
		Alone   string
	}
	Stages []struct{ Stage string }
}) {
	r.t.Helper()
	status, content, _ := r.ask("GET", "/api/jobs/"+id, nil)
	require.Equal(r.t, http.StatusOK, status, "%s", content)
	require.NoError(r.t, json.Unmarshal(content, &v))
	return v
}

func samplePhoto(t *testing.T, name string) []byte {
	t.Helper()
	content, err := os.ReadFile(filepath.Join("..", "..", "samples", "photos", "plan-bench", name+".jpg"))
	require.NoError(t, err)
	return content
}

// fill puts something for each wildcard of a pattern.
func fill(pattern, id string) (method, path string) {
	method, path, _ = strings.Cut(pattern, " ")
	return method, strings.NewReplacer("{id}", id, "{key}", "0123456789", "{n}", "1").Replace(path)
}

// In the local network nothing under /api is answered without a session, whatever
// the address.
func TestEveryRouteWantsPairing(t *testing.T) {
	o := testOptions(t.TempDir())
	o.LAN = true
	r := start(t, o)
	id, err := r.createJob(testJob())
	require.NoError(t, err)
	require.Greater(t, len(r.routes()), 20)
	for _, route := range r.routes() {
		method, path := fill(route.pattern, id)
		status, content, _ := r.ask(method, path, strings.NewReader("{}"))
		if path == "/api/pair" {
			assert.Equal(t, http.StatusTooManyRequests, status, "no code was made yet")
			continue
		}
		assert.Equal(t, http.StatusUnauthorized, status, route.pattern)
		assert.Equal(t, "not_paired", code(t, content), route.pattern)
	}
	for _, path := range []string{"/api/", "/api/other", "/api/pair/", "/api/jobs/" + id + "/../" + id} {
		status, _, _ := r.ask("GET", path, nil)
		assert.Equal(t, http.StatusUnauthorized, status, path)
	}
	status, _, _ := r.ask("GET", "/pair", nil)
	assert.Equal(t, http.StatusOK, status, "the page that asks for the code")
}

func TestPairing(t *testing.T) {
	o := testOptions(t.TempDir())
	o.LAN = true
	r := start(t, o)
	pair := func(code string) (int, *http.Response) {
		status, _, answered := r.ask("POST", "/api/pair", strings.NewReader(fmt.Sprintf(`{"code": %q}`, code)))
		return status, answered
	}
	good := r.NewCode()
	require.Regexp(t, `^\d{8}$`, good)
	wrong := "00000000"
	if good == wrong {
		wrong = "00000001"
	}
	status, _ := pair(wrong)
	assert.Equal(t, http.StatusForbidden, status)
	status, answered := pair(good[:4] + " " + good[4:])
	require.Equal(t, http.StatusOK, status)
	require.Len(t, answered.Cookies(), 1)
	cookie := answered.Cookies()[0]
	assert.True(t, cookie.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, cookie.SameSite)
	status, _, _ = r.ask("GET", "/api/jobs", nil, func(q *http.Request) { q.AddCookie(cookie) })
	assert.Equal(t, http.StatusOK, status)
	status, _, _ = r.ask("GET", "/api/jobs", nil, func(q *http.Request) { q.AddCookie(&http.Cookie{Name: cookie.Name, Value: cookie.Value + "x"}) })
	assert.Equal(t, http.StatusUnauthorized, status)

	status, _ = pair(good)
	assert.Equal(t, http.StatusTooManyRequests, status, "a code is good once")

	good = r.NewCode()
	for range codeTries {
		status, _ = pair("x")
		assert.Equal(t, http.StatusForbidden, status)
	}
	status, _ = pair(good)
	assert.Equal(t, http.StatusTooManyRequests, status, "after wrong tries the good code is good no more")
}

func TestCodesAndSessionsEnd(t *testing.T) {
	p := newPairing()
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	p.now = func() time.Time { return at }
	good := p.newCode()
	at = at.Add(codeTime + time.Second)
	_, err := p.pair(good)
	require.Error(t, err)
	token, err := p.pair(p.newCode())
	require.NoError(t, err)
	assert.True(t, p.paired(token))
	at = at.Add(sessionTime + time.Second)
	assert.False(t, p.paired(token))
	assert.False(t, p.paired(""))
}

// A page of another site must not write, nor read by a name that it points here.
func TestOtherSites(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	header := func(name, value string) func(*http.Request) {
		return func(q *http.Request) { q.Header.Set(name, value) }
	}
	without := func(q *http.Request) { q.Header.Del("X-Rimpair") }
	for name, set := range map[string]func(*http.Request){
		"a form":             without,
		"another site":       header("Sec-Fetch-Site", "cross-site"),
		"another port":       header("Sec-Fetch-Site", "same-site"),
		"an older browser":   header("Origin", "http://elsewhere.example"),
		"a page from a file": header("Origin", "null"),
		"a value of its own": header("X-Rimpair", "2"),
		"another scheme":     header("Origin", strings.Replace(r.base, "http:", "ftp:", 1)+"0"),
	} {
		status, content, _ := r.ask("POST", "/api/jobs", strings.NewReader(`{}`), set)
		assert.Equal(t, http.StatusForbidden, status, name)
		assert.Equal(t, "cross_site", code(t, content), name)
	}
	for host, want := range map[string]int{
		"localhost": http.StatusOK, "localhost:80": http.StatusOK, "127.0.0.1": http.StatusOK,
		"rebound.example": http.StatusMisdirectedRequest, "127.0.0.2": http.StatusMisdirectedRequest, "localhost.example": http.StatusMisdirectedRequest,
		"8.8.8.8": http.StatusMisdirectedRequest, "[::1]": http.StatusMisdirectedRequest,
	} {
		status, _, _ := r.ask("GET", "/api/jobs", nil, func(q *http.Request) { q.Host = host })
		assert.Equal(t, want, status, host)
	}
	entries, err := os.ReadDir(r.options.Store)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "only the lock: nothing was written")
}

// Header names and values as MDN and the OWASP Secure Headers project advise them
// (from memory).
func TestHeaders(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	for _, path := range []string{"/", "/api/jobs", "/api/none", "/none", "/assets/app.js"} {
		_, _, answered := r.ask("GET", path, nil)
		h := answered.Header
		assert.Contains(t, h.Get("Content-Security-Policy"), "default-src 'none'", path)
		assert.NotContains(t, h.Get("Content-Security-Policy"), "unsafe", path)
		assert.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		assert.Equal(t, "no-referrer", h.Get("Referrer-Policy"), path)
		assert.Empty(t, h.Get("Access-Control-Allow-Origin"), path)
	}
}

// No name leads out of the store or into its hidden folders.
func TestPathsStayInTheStore(t *testing.T) {
	outer := t.TempDir()
	store := filepath.Join(outer, "store")
	r := start(t, testOptions(store))
	id := r.newJob()
	secret := filepath.Join(outer, "secret")
	require.NoError(t, os.CopyFS(secret, os.DirFS(filepath.Join(store, id))))
	require.NoError(t, os.Symlink(secret, filepath.Join(store, "linked")))
	for _, bad := range []string{"..%2fsecret", "..", "%2e%2e%2fsecret", "linked", ".reviews", "%00", "..%5csecret", id + "%2f..%2f" + id, "C:", "none"} {
		for _, path := range []string{"", "/export.zip", "/report.html", "/events"} {
			status, content, _ := r.ask("GET", "/api/jobs/"+bad+path, nil)
			assert.Equal(t, http.StatusNotFound, status, "%s%s: %.80s", bad, path, content)
		}
		status, _, _ := r.ask("PUT", "/api/jobs/"+bad+"/uploads/0123456789", strings.NewReader("x"))
		assert.Equal(t, http.StatusNotFound, status, bad)
	}
	for _, bad := range []string{"..%2f..%2fx", "short", "a.b.c.d.e.f", strings.Repeat("x", 65), "12345678%00"} {
		status, _, _ := r.ask("PUT", "/api/jobs/"+id+"/uploads/"+bad, strings.NewReader("x"))
		assert.Equal(t, http.StatusBadRequest, status, bad)
	}
	for i, name := range []string{"../../../evil.jpg", `..\..\evil.jpg`, "/etc/evil", "about.json", ".hidden", "a\nb.jpg", strings.Repeat("ä", 300)} {
		status, content, _ := r.ask("PUT", fmt.Sprintf("/api/jobs/%s/uploads/name-%04d?%s", id, i, query("name", name)), strings.NewReader("x"))
		require.Equal(t, http.StatusCreated, status, "%q: %s", name, content)
	}
	for _, path := range []string{"/..%2fsecret/job.json", "/assets/..%2f..%2fserver.go", "/assets", "/.serve.lock"} {
		status, _, _ := r.ask("GET", path, nil)
		assert.Equal(t, http.StatusNotFound, status, path)
	}
	var outside []string
	require.NoError(t, filepath.WalkDir(outer, func(path string, _ os.DirEntry, err error) error {
		if strings.Contains(path, "evil") && !strings.HasPrefix(path, filepath.Join(store, id, draftDir)) {
			outside = append(outside, path)
		}
		return err
	}))
	assert.Empty(t, outside)
}

func TestUploadOnce(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	path := "/api/jobs/" + id + "/uploads/key-of-front?view=front&position=top&name=IMG.jpg&modified=2026-01-02T03:04:05Z"
	front := samplePhoto(t, "front")
	status, first, _ := r.ask("PUT", path, bytes.NewReader(front))
	require.Equal(t, http.StatusCreated, status, "%s", first)
	status, _, _ = r.ask("PUT", path, bytes.NewReader(front))
	assert.Equal(t, http.StatusOK, status)
	v := r.job(id)
	require.Len(t, v.Photos, 1)
	assert.Equal(t, "top", v.Photos[0].Position)
	kept, err := os.ReadFile(filepath.Join(r.options.Store, id, draftDir, "key-of-front", "IMG.jpg"))
	require.NoError(t, err)
	assert.Equal(t, front, kept)

	for range 2 { // a repeat is no mistake
		status, _, _ = r.ask("DELETE", "/api/jobs/"+id+"/uploads/key-of-front", nil)
		assert.Equal(t, http.StatusOK, status)
	}
	assert.Empty(t, r.job(id).Photos)
}

func TestBodiesThatCannotBe(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	record, err := os.ReadFile(filepath.Join(r.options.Store, id, "job.json"))
	require.NoError(t, err)
	for _, body := range []string{
		"", "{", "[]", "null []", `{"referenc": "x"}`, `{"reference": 7}`, `{} {}`, "\x00\xff", strings.Repeat("[", 10_000), `{"vehicle": {"rim_mm": 9}}`,
		`{"vehicle": {"rim_mm": 1e999}}`, `{"ruler_mm": [4, 100]}`, `{"ruler_mm": [100]}`, `{"vehicle": {"steering": {"thread": "M-6"}}}`, `{"reference": "` + strings.Repeat("x", longestText+1) + `"}`,
		"--boundary\r\nContent-Disposition: form-data; name=\"x\"\r\n\r\nx",
	} {
		for _, path := range []string{"/api/jobs", "/api/jobs/" + id + "/vehicle", "/api/jobs/" + id + "/checks", "/api/jobs/" + id + "/turned"} {
			status, content, _ := r.ask("POST", path, strings.NewReader(body), func(q *http.Request) { q.Header.Set("Content-Type", "multipart/form-data; boundary=boundary") })
			assert.Equal(t, http.StatusBadRequest, status, "%s %.40s: %s", path, body, content)
		}
	}
	status, content, _ := r.ask("POST", "/api/jobs", strings.NewReader(`{"reference": "`+strings.Repeat("x", jsonBytes)))
	assert.Equal(t, http.StatusRequestEntityTooLarge, status)
	assert.Equal(t, "too_large", code(t, content))
	after, err := os.ReadFile(filepath.Join(r.options.Store, id, "job.json"))
	require.NoError(t, err)
	assert.Equal(t, string(record), string(after))
}

// What is no photo is kept, as it was acknowledged, and judged as what it is.
func TestGarbageIsJudged(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	status, _, _ := r.ask("PUT", "/api/jobs/"+id+"/uploads/garbage-1", strings.NewReader("garbage"))
	require.Equal(t, http.StatusCreated, status)
	require.Eventually(t, func() bool { p := r.job(id).Photos; return p[0].Judgement != nil }, 5*time.Second, 10*time.Millisecond)
	p := r.job(id).Photos[0]
	assert.Equal(t, judging.Repeat, p.Judgement.Verdict)
	for language, text := range map[string]string{"en": "The file is no JPEG, PNG, WebP or HEIC picture.", "de": "Die Datei ist kein Bild als JPEG, PNG, WebP oder HEIC."} {
		_, content, _ := r.ask("GET", "/api/jobs/"+id, nil, func(q *http.Request) { q.Header.Set("Accept-Language", language) })
		assert.Contains(t, string(content), `"text":"`+text+`"`)
	}
	status, _, _ = r.ask("GET", "/api/jobs/"+id+"/uploads/garbage-1/picture", nil)
	assert.Equal(t, http.StatusNotFound, status)
	status, content, _ := r.ask("POST", "/api/jobs/"+id+"/settle", strings.NewReader("{}"))
	assert.Equal(t, http.StatusConflict, status)
	assert.Equal(t, "not_measured", code(t, content))
}

func TestTooLargeAndTooMany(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	endless := io.LimitReader(zeros{}, photoBytes+1)
	status, content, _ := r.ask("PUT", "/api/jobs/"+id+"/uploads/too-large", endless) // of no stated length
	assert.Equal(t, http.StatusRequestEntityTooLarge, status, "%s", content)
	assert.Empty(t, r.job(id).Photos)
	left, err := os.ReadDir(filepath.Join(r.options.Store, id, draftDir))
	require.NoError(t, err)
	assert.Empty(t, left)
	for i := range photosPerJob + 2 {
		status, content, _ := r.ask("PUT", fmt.Sprintf("/api/jobs/%s/uploads/many-%04d", id, i), strings.NewReader("x"))
		if i < photosPerJob {
			require.Equal(t, http.StatusCreated, status, "%s", content)
		} else {
			require.Equal(t, http.StatusConflict, status)
			require.Equal(t, "too_many_photos", code(t, content))
		}
	}
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// A client that ends in the middle of its photo is not acknowledged and leaves
// nothing.
func TestCutOffUpload(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	c, err := net.Dial("tcp", strings.TrimPrefix(r.base, "http://"))
	require.NoError(t, err)
	fmt.Fprintf(c, "PUT /api/jobs/%s/uploads/cut-off-1 HTTP/1.1\r\nHost: localhost\r\nX-Rimpair: 1\r\nContent-Length: 1000\r\n\r\nhalf", id)
	drafts := func(n int) func() bool {
		return func() bool {
			left, err := os.ReadDir(filepath.Join(r.options.Store, id, draftDir))
			return err == nil && len(left) == n
		}
	}
	require.Eventually(t, drafts(1), 5*time.Second, time.Millisecond, "begun")
	require.NoError(t, c.Close())
	require.Eventually(t, drafts(0), 5*time.Second, 10*time.Millisecond, "taken away")
	assert.Empty(t, r.job(id).Photos)
	// The key is free once the server is through with the old request, which is
	// after its file is gone; till then a client is told to try again.
	status := http.StatusServiceUnavailable
	sent := func() bool {
		status, _, _ = r.ask("PUT", "/api/jobs/"+id+"/uploads/cut-off-1", strings.NewReader("whole"))
		return status != http.StatusServiceUnavailable
	}
	require.Eventually(t, sent, 5*time.Second, 10*time.Millisecond)
	assert.Equal(t, http.StatusCreated, status, "the same key again")
}

// deadlines notes those that are set.
type deadlines struct {
	http.ResponseWriter
	at []time.Time
}

func (d *deadlines) SetReadDeadline(t time.Time) error { d.at = append(d.at, t); return nil }

// The deadline moves with what has come, at the speed of the slowest line.
func TestPatientBody(t *testing.T) {
	d := &deadlines{}
	b := &patientBody{w: d, body: io.LimitReader(zeros{}, 10*slowestPerSec)}
	begun := time.Now()
	chunk := make([]byte, slowestPerSec)
	for range 10 {
		_, err := b.Read(chunk)
		require.NoError(t, err)
	}
	require.Len(t, d.at, 10)
	assert.WithinDuration(t, begun.Add(bodyGrace), d.at[0], time.Second)
	assert.Equal(t, 9*time.Second, d.at[9].Sub(d.at[0]))
}

// Headers that never end close the line instead of holding it.
func TestSlowHeaders(t *testing.T) {
	t.Parallel() // it waits for headerTime
	r := start(t, testOptions(t.TempDir()))
	c, err := net.Dial("tcp", strings.TrimPrefix(r.base, "http://"))
	require.NoError(t, err)
	defer c.Close()
	fmt.Fprint(c, "GET /api/jobs HTTP/1.1\r\nHost: localhost\r\nX-")
	require.NoError(t, c.SetReadDeadline(time.Now().Add(3*headerTime)))
	content, err := io.ReadAll(c)
	require.NoError(t, err, "the server closes it")
	assert.NotContains(t, string(content), "200 OK")
}

// Events come numbered; one that comes back gets what it missed.
func TestEventsResume(t *testing.T) {
	s := newStream("boot")
	for i := range eventsKept + 5 {
		s.send("progress", i)
	}
	events, _ := s.since(s.seen("boot-200"))
	require.Len(t, events, 5)
	assert.Equal(t, "200", string(events[0].data))
	for _, none := range []string{"", "other-200", "boot-x", "200"} {
		events, changed := s.since(s.seen(none))
		assert.Empty(t, events, none)
		select {
		case <-changed:
			t.Error("nothing changed")
		default:
		}
	}
	_, changed := s.since(s.count)
	s.send("progress", 0)
	<-changed
}

func TestEventStream(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	id := r.newJob()
	q, err := http.NewRequestWithContext(t.Context(), "GET", r.base+"/api/jobs/"+id+"/events", nil)
	require.NoError(t, err)
	answered, err := http.DefaultClient.Do(q)
	require.NoError(t, err)
	defer answered.Body.Close()
	assert.Equal(t, "text/event-stream", answered.Header.Get("Content-Type"))
	status, _, _ := r.ask("PUT", "/api/jobs/"+id+"/uploads/front-key", bytes.NewReader(samplePhoto(t, "front")))
	require.Equal(t, http.StatusCreated, status)
	seen := ""
	for lines := bufio.NewScanner(answered.Body); !strings.Contains(seen, `"state":"done"`) && lines.Scan(); {
		seen += lines.Text() + "\n"
	}
	assert.Contains(t, seen, "event: judged\nid: "+r.boot+"-1\n")
	refused := r.job(id).Measured.Refused
	require.NotNil(t, refused)
	assert.Equal(t, "front-key", refused.Photo, "the photo is named by its key")
	r.end()
	_, err = io.ReadAll(answered.Body)
	assert.NoError(t, err, "closing ends the stream")
}

// When the server closes, what was acknowledged is there for the next one, and what
// was not judged is judged then.
func TestCloseAndOpenAgain(t *testing.T) {
	o := testOptions(t.TempDir())
	looking, release := make(chan struct{}), make(chan struct{})
	judge := o.Judge
	o.Judge = func(p *vision.Photo, beadSeatMm float64, at time.Time) judging.Judgement {
		looking <- struct{}{}
		<-release
		return judge(p, beadSeatMm, at)
	}
	r := start(t, o)
	id := r.newJob()
	front := samplePhoto(t, "front")
	for i := range heavyAtOnce + 2 {
		status, _, _ := r.ask("PUT", fmt.Sprintf("/api/jobs/%s/uploads/front-%04d", id, i), bytes.NewReader(append(front[:len(front):len(front)], byte(i))))
		require.Equal(t, http.StatusCreated, status)
	}
	<-looking
	r.end()
	close(release)
	go func() {
		for range looking {
		}
	}()
	err := <-r.done
	r.done <- err
	require.NoError(t, err)
	close(looking)

	again := start(t, testOptions(o.Store))
	all := func() bool {
		photos := again.job(id).Photos
		for _, p := range photos {
			if p.Judgement == nil {
				return false
			}
		}
		return len(photos) == heavyAtOnce+2
	}
	assert.Eventually(t, all, 10*time.Second, 20*time.Millisecond)
}

func TestOneServerAStore(t *testing.T) {
	r := start(t, testOptions(t.TempDir()))
	_, err := New(testOptions(r.options.Store))
	assert.ErrorContains(t, err, "served by another process")
}

// Each client has so many requests; others are not held up by one.
func TestRequestRate(t *testing.T) {
	var c clients
	n := 0
	for c.allow("a") {
		n++
	}
	assert.InDelta(t, requestsAtOnce, n, requestsPerSecond, "and what grows back meanwhile")
	assert.True(t, c.allow("b"))
}

// A self-made certificate is kept, and holds for the names and addresses of the
// machine by the rules of Go's own verification.
func TestSelfMadeCertificate(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "serve")
	address := net.ParseIP("192.0.2.7")
	c, err := SelfMadeCertificate(folder, []string{"workshop"}, []net.IP{address})
	require.NoError(t, err)
	require.NoError(t, c.Leaf.VerifyHostname("192.0.2.7"))
	require.NoError(t, c.Leaf.VerifyHostname("workshop"))
	assert.Regexp(t, `^([0-9A-F]{2}:){31}[0-9A-F]{2}$`, Fingerprint(c))
	same, err := SelfMadeCertificate(folder, []string{"workshop"}, []net.IP{address})
	require.NoError(t, err)
	assert.Equal(t, Fingerprint(c), Fingerprint(same))
	other, err := SelfMadeCertificate(folder, []string{"workshop"}, []net.IP{address, net.ParseIP("192.0.2.8")})
	require.NoError(t, err)
	assert.NotEqual(t, Fingerprint(c), Fingerprint(other), "a new address takes a new one")
	info, err := os.Stat(folder)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o700), info.Mode().Perm())
}

func TestTLS(t *testing.T) {
	o := testOptions(t.TempDir())
	o.LAN = true
	c, err := SelfMadeCertificate(t.TempDir(), []string{"localhost"}, []net.IP{net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	o.Certificate = c
	r := start(t, o)
	roots := x509.NewCertPool()
	roots.AddCert(c.Leaf)
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	defer client.CloseIdleConnections()
	q, err := http.NewRequestWithContext(t.Context(), "POST", strings.Replace(r.base, "http:", "https:", 1)+"/api/pair", strings.NewReader(`{"code": "`+r.NewCode()+`"}`))
	require.NoError(t, err)
	q.Header.Set("X-Rimpair", "1")
	answered, err := client.Do(q)
	require.NoError(t, err)
	defer answered.Body.Close()
	require.Len(t, answered.Cookies(), 1)
	assert.True(t, answered.Cookies()[0].Secure)
	assert.Equal(t, "__Host-rimpair", answered.Cookies()[0].Name)
}

// A QR code read back by hand is too much for a test; its size and its finder
// patterns are the norm's (ISO/IEC 18004, 6.3.3: 7 modules, dark border).
func TestQR(t *testing.T) {
	picture, err := QR("https://192.168.1.20:8027/pair#12345678")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSuffix(picture, "\n"), "\n")
	modules := []rune(strings.TrimSuffix(strings.TrimPrefix(lines[1], "\x1b[30;107m"), "\x1b[0m"))
	assert.Zero(t, (len(modules)-4-17)%4, "a version's side is 17 + 4 n modules")
	assert.Equal(t, "  █▀▀▀▀▀█ ", string(modules[:10]), "the finder pattern's first two rows")
}

func query(name, value string) string { return url.Values{name: {value}}.Encode() }

func testJob() job.Job { return job.Job{Created: now(), Reference: "7"} }
