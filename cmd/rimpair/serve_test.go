package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report/job"
)

// asProgram, when set, makes this test program do what the arguments say, as
// another process that can be killed.
const asProgram = "RIMPAIR_TEST_AS_PROGRAM"

func init() {
	if os.Getenv(asProgram) != "" {
		os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
	}
}

// served is a rimpair serve of its own.
type served struct {
	t       *testing.T
	process *exec.Cmd
	api     string
}

func startServe(t *testing.T, store string) *served {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self, "serve", store, "--listen", "127.0.0.1:0")
	c.Env = append(os.Environ(), asProgram+"=1")
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() }) // most tests have done both
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	s := &served{t: t, process: c, api: strings.Fields(line)[1] + "/api"}
	require.Eventually(t, func() bool {
		answered, err := http.Get(s.api + "/hello")
		if err == nil {
			answered.Body.Close()
		}
		return err == nil
	}, 20*time.Second, 10*time.Millisecond)
	return s
}

func (s *served) kill() {
	require.NoError(s.t, s.process.Process.Kill())
	_ = s.process.Wait() // it was killed
}

// send answers with status 0 when the line broke.
func (s *served) send(method, path string, body io.Reader) (status int, content []byte) {
	q, err := http.NewRequest(method, s.api+path, body)
	if err != nil {
		return 0, nil
	}
	q.Header.Set("X-Rimpair", "1")
	answered, err := http.DefaultClient.Do(q)
	if err != nil {
		return 0, nil
	}
	defer answered.Body.Close()
	content, err = io.ReadAll(answered.Body)
	if err != nil {
		return 0, nil
	}
	return answered.StatusCode, content
}

func (s *served) newJob(reference string) string {
	s.t.Helper()
	status, content := s.send("POST", "/jobs", strings.NewReader(fmt.Sprintf(`{"reference": %q, "vehicle": {"rim_mm": 305}}`, reference)))
	require.Equal(s.t, http.StatusCreated, status, "%s", content)
	var made struct{ ID string }
	require.NoError(s.t, json.Unmarshal(content, &made))
	return made.ID
}

type servedJob struct {
	Photos []struct {
		Key       string
		Judgement *struct{ Verdict string }
	}
	Measured *struct {
		State  string
		Result *measure.Result
	}
	Stages []struct {
		Toe measure.Quantity `json:"total_toe_mm"`
	}
}

func (s *served) job(id string) (j servedJob) {
	s.t.Helper()
	status, content := s.send("GET", "/jobs/"+id, nil)
	require.Equal(s.t, http.StatusOK, status, "%s", content)
	require.NoError(s.t, json.Unmarshal(content, &j))
	return j
}

// Twenty clients upload when the server is killed, at several moments: what it
// acknowledged is there, byte by byte, when it is up again, and what is sent again
// is not doubled.
func TestServeKilledWhileUploading(t *testing.T) {
	store := t.TempDir()
	content := func(key string) []byte { return bytes.Repeat([]byte(key+"\n"), 20_000) }
	acknowledged := map[string]string{} // job by key
	for round := range 3 {
		s := startServe(t, store)
		id := s.newJob(fmt.Sprint(round))
		var mu sync.Mutex
		var clients sync.WaitGroup
		sent := func(key string) {
			status, _ := s.send("PUT", "/jobs/"+id+"/uploads/"+key, bytes.NewReader(content(key)))
			if status == http.StatusCreated {
				mu.Lock()
				acknowledged[key] = id
				mu.Unlock()
			}
		}
		for client := range 20 {
			clients.Go(func() {
				for n := range 2 {
					sent(fmt.Sprintf("round-%d-client-%02d-%d", round, client, n))
				}
			})
		}
		time.Sleep(time.Duration(10+40*round) * time.Millisecond)
		s.kill()
		clients.Wait()
	}
	s := startServe(t, store)
	for key, id := range acknowledged {
		kept, err := os.ReadFile(filepath.Join(store, id, ".taking", key, "file"))
		require.NoError(t, err)
		assert.True(t, bytes.Equal(content(key), kept), key)
		status, _ := s.send("PUT", "/jobs/"+id+"/uploads/"+key, bytes.NewReader(content(key)))
		assert.Equal(t, http.StatusOK, status, "it is there already")
	}
	require.NotEmpty(t, acknowledged)
	for round := range 3 {
		for _, p := range s.job(fmt.Sprint(round)).Photos {
			delete(acknowledged, p.Key)
		}
	}
	assert.Empty(t, acknowledged, "all are listed")
}

// Killed while it measures and while it settles, the server ends where it would have
// ended: with the toe that the measure command gives, recorded once. Photos of two
// positions are one stage; one that cannot be measured is kept beside it.
func TestServeKilledWhileMeasuring(t *testing.T) {
	store := t.TempDir()
	s := startServe(t, store)
	id := s.newJob("bench")
	for name, position := range map[string]string{"front": "top", "above": "top", "rear": "bottom"} {
		photo, err := os.ReadFile(samplePhotos(name)[0])
		require.NoError(t, err)
		status, content := s.send("PUT", "/jobs/"+id+"/uploads/photo-"+name+"?name="+name+".jpg&position="+position, bytes.NewReader(photo))
		require.Equal(t, http.StatusCreated, status, "%s", content)
	}
	s.send("PUT", "/jobs/"+id+"/uploads/photo-of-nothing?name=nothing.jpg&position=top", strings.NewReader("no photo"))
	measuring := func() bool { m := s.job(id).Measured; return m != nil && m.State == "measuring" }
	require.Eventually(t, measuring, 30*time.Second, 5*time.Millisecond)
	s.kill()

	s = startServe(t, store)
	// Photos are looked at one by one, and those that are ready are measured meanwhile.
	done := func() bool {
		m := s.job(id).Measured
		return m != nil && m.State == "done" && m.Result != nil && len(m.Result.Photos) == 3
	}
	require.Eventually(t, done, 60*time.Second, 50*time.Millisecond)
	measured := s.job(id).Measured
	assert.Len(t, measured.Result.Runout, 2)

	settled := make(chan struct{})
	go func() {
		s.send("POST", "/jobs/"+id+"/settle", strings.NewReader(`{}`)) // whether it is answered is left to chance
		close(settled)
	}()
	time.Sleep(150 * time.Millisecond)
	s.kill()
	<-settled
	s = startServe(t, store)
	if len(s.job(id).Stages) == 0 {
		require.Len(t, s.job(id).Photos, 4)
		require.Eventually(t, done, 60*time.Second, 50*time.Millisecond)
		status, content := s.send("POST", "/jobs/"+id+"/settle", strings.NewReader(`{}`))
		require.Equal(t, http.StatusOK, status, "%s", content)
	}
	require.Len(t, s.job(id).Stages, 1)
	assert.Empty(t, s.job(id).Photos)
	assert.Equal(t, measured.Result.TotalToeMm, s.job(id).Stages[0].Toe)

	require.NoError(t, s.process.Process.Signal(syscall.SIGTERM))
	require.NoError(t, s.process.Wait(), "it ends in order")
	inspected, err := job.Inspect(filepath.Join(store, id))
	require.NoError(t, err)
	assert.Empty(t, inspected.Damage)
	assert.Empty(t, inspected.Loose)
	require.Len(t, inspected.Entries, 2)
	assert.ElementsMatch(t, []string{"top", "top", "bottom"}, inspected.Entries[0].Measurement.Positions)
	require.Len(t, inspected.Entries[1].Photos, 1)
	assert.Equal(t, "nothing.jpg", inspected.Entries[1].Photos[0].Name)
	assert.NotEmpty(t, inspected.Entries[1].Note)

	paths := map[string][]string{}
	for i, p := range inspected.Entries[0].Photos {
		at := inspected.Entries[0].Measurement.Positions[i]
		paths[at] = append(paths[at], filepath.Join(store, id, p.File))
	}
	var args []string
	for _, at := range slices.Compact(inspected.Entries[0].Measurement.Positions) {
		args = append(args, "--at", at+"="+strings.Join(paths[at], ","))
	}
	var byCommand measure.Result
	require.NoError(t, json.Unmarshal([]byte(succeeds(t, append([]string{"measure", "--json", "--camera", "none", "--rim", "305"}, args...)...)), &byCommand))
	assert.InDelta(t, byCommand.TotalToeMm.Value, measured.Result.TotalToeMm.Value, 1e-9)
	assert.InDelta(t, byCommand.TotalToeMm.High95, measured.Result.TotalToeMm.High95, 1e-9)
}

func TestServeRefusesToOpenUnasked(t *testing.T) {
	for args, want := range map[string]string{
		"--listen 0.0.0.0:0":             "takes --lan",
		"--cert a.pem":                   "go together",
		"--cert a.pem --key b.pem --tls": "made here",
		"--language xx":                  "no language",
	} {
		assert.Contains(t, fails(t, append([]string{"serve", t.TempDir()}, strings.Fields(args)...)...), want, args)
	}
}
