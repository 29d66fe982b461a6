package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"rimpair/report/serve/page"
)

const (
	pageLimitKB    = 150
	judgeLimitS    = 1.0
	serveLimitMiB  = 1024
	clients        = 20
	judgeRuns      = 3
	judgedWithin   = 5 * time.Minute
	pollJudgements = 500 * time.Millisecond // all clients are one address, whose requests are limited
)

// serveTable weighs the pages, times the judging of photos one after the other, and
// then lets twenty clients send photos of 12 megapixels at once, each to a job of its
// own, look at them, and have them measured.
func (b *bench) serveTable() error {
	b.title("rimpair serve: pages, judging, %d clients at once", clients)
	weight, err := pageWeight()
	if err != nil {
		return err
	}
	b.printf("pages: %.0f kB\n", float64(weight)/1000)
	shoots, err := b.twelveMegapixels()
	if err != nil {
		return err
	}
	var photos [][]byte
	for _, s := range shoots {
		for _, path := range s.photos {
			content, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			photos = append(photos, content)
		}
	}
	c, err := startServing(b.rimpair, filepath.Join(b.dir, "serve"))
	if err != nil {
		return err
	}
	defer c.process.Process.Kill()
	seconds, err := c.judgeEach(photos[:min(len(photos), 4)])
	if err != nil {
		return err
	}
	b.printf("judging a photo of 12 megapixels: median %.2f s, slowest %.2f s, from file to judgement\n", seconds[len(seconds)/2], seconds[len(seconds)-1])
	start := time.Now()
	acknowledged, err := c.sendAtOnce(photos)
	if err != nil {
		return err
	}
	peak, err := c.end()
	if err != nil {
		return err
	}
	b.printf("%d clients at once: all acknowledged after %.1f s, all judged, looked at and measured after %.1f s, peak %.0f MiB\n",
		clients, acknowledged.Seconds(), time.Since(start).Seconds(), peak)
	b.limits(fmt.Sprintf("%d kB, %g s, %d MiB", pageLimitKB, judgeLimitS, serveLimitMiB))
	return nil
}

// pageWeight is all that a browser loads to work, photos apart.
func pageWeight() (bytes int64, err error) {
	err = fs.WalkDir(page.FS, ".", func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		bytes += info.Size()
		return err
	})
	return bytes, err
}

// serving is a rimpair serve as a process of its own.
type serving struct {
	process *exec.Cmd
	api     string
}

func startServing(rimpair, store string) (*serving, error) {
	process := exec.Command(rimpair, "serve", store, "--listen", "127.0.0.1:0")
	process.Stderr = os.Stderr
	out, err := process.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := process.Start(); err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	words := strings.Fields(line)
	if err != nil || len(words) < 2 {
		return nil, fmt.Errorf("rimpair serve says %q: %w", line, err)
	}
	return &serving{process, words[1] + "/api"}, nil
}

// end ends the server and returns the peak of its memory in MiB.
func (c *serving) end() (peakMiB float64, err error) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", c.process.Process.Pid))
	if err != nil {
		return 0, err
	}
	for line := range strings.SplitSeq(string(status), "\n") {
		if words := strings.Fields(line); len(words) > 1 && words[0] == "VmHWM:" {
			kib, err := strconv.ParseFloat(words[1], 64)
			if err != nil {
				return 0, err
			}
			peakMiB = kib / 1024
		}
	}
	return peakMiB, errors.Join(c.process.Process.Signal(syscall.SIGTERM), c.process.Wait())
}

func (c *serving) send(method, path string, body []byte) ([]byte, error) {
	r, err := http.NewRequest(method, c.api+path, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	r.Header.Set("X-Rimpair", "1")
	answered, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	defer answered.Body.Close()
	content, err := io.ReadAll(answered.Body)
	if err == nil && answered.StatusCode >= http.StatusBadRequest {
		err = fmt.Errorf("%s %s: %d %.200s", method, path, answered.StatusCode, content)
	}
	return content, err
}

// newJob begins a job and returns its address.
func (c *serving) newJob() (string, error) {
	content, err := c.send(http.MethodPost, "/jobs", []byte(`{"reference": "bench"}`))
	if err != nil {
		return "", err
	}
	var made struct{ ID string }
	err = json.Unmarshal(content, &made)
	return "/jobs/" + made.ID, err
}

type servedJob struct {
	Photos []struct {
		Key       string
		Judgement *struct{ Seconds float64 }
	}
	Measured *struct{ State string }
}

// wait polls until every photo of a job is judged, and the set measured if asked.
func (c *serving) wait(job string, measured bool) (j servedJob, err error) {
	for end := time.Now().Add(judgedWithin); time.Now().Before(end); time.Sleep(pollJudgements) {
		content, err := c.send(http.MethodGet, job, nil)
		if err != nil {
			return j, err
		}
		j = servedJob{}
		if err := json.Unmarshal(content, &j); err != nil {
			return j, err
		}
		ready := true
		for _, p := range j.Photos {
			ready = ready && p.Judgement != nil
		}
		if ready && (!measured || j.Measured == nil || j.Measured.State == "done") {
			return j, nil
		}
	}
	return j, fmt.Errorf("%s was not judged and measured within %v", job, judgedWithin)
}

// judgeEach sends photos, each when the last one was judged and measured, and
// returns how long judging took, the best of some runs each, sorted.
func (c *serving) judgeEach(photos [][]byte) (seconds []float64, err error) {
	for _, photo := range photos {
		best := 0.0
		for run := range judgeRuns {
			job, err := c.newJob()
			if err != nil {
				return nil, err
			}
			if _, err := c.send(http.MethodPut, fmt.Sprintf("%s/uploads/judging-%d", job, run), photo); err != nil {
				return nil, err
			}
			j, err := c.wait(job, true)
			if err != nil {
				return nil, err
			}
			if s := j.Photos[0].Judgement.Seconds; best == 0 || s < best {
				best = s
			}
		}
		seconds = append(seconds, best)
	}
	slices.Sort(seconds)
	return seconds, nil
}

// sendAtOnce is what twenty clients do. It returns when the last photo was
// acknowledged.
func (c *serving) sendAtOnce(photos [][]byte) (acknowledged time.Duration, err error) {
	start := time.Now()
	errs, times := make([]error, clients), make([]time.Duration, clients)
	var group sync.WaitGroup
	for i := range clients {
		group.Go(func() {
			errs[i] = func() error {
				job, err := c.newJob()
				if err != nil {
					return err
				}
				if _, err := c.send(http.MethodPut, job+"/uploads/at-once-1?name=photo.jpg", photos[i%len(photos)]); err != nil {
					return err
				}
				times[i] = time.Since(start)
				if _, err := c.wait(job, false); err != nil {
					return err
				}
				if _, err := c.send(http.MethodGet, job+"/uploads/at-once-1/picture?width=480", nil); err != nil {
					return err
				}
				_, err = c.wait(job, true)
				return err
			}()
		})
	}
	group.Wait()
	return slices.Max(times), errors.Join(errs...)
}
