package main

import (
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rimpair/measure"
	"rimpair/report/review"
	"rimpair/report/serve"
	"rimpair/vision"
)

// A photo whose upload is cut off is kept, over a reload without a connection, and
// arrives once when the line is back; so does one whose answer got lost.
func pagesWithLostLine(t *testing.T, c *chromium) {
	base, _ := servePages(t, func(o *serve.Options) {
		o.Judge = func(*vision.Photo, float64, time.Time) review.Judgement {
			return review.Judgement{Verdict: review.Good, Findings: []review.Finding{}, Sheets: []int{1, 2}, Wheels: []string{"left", "right"}}
		}
		o.Measure = func([]serve.Position, measure.Settings, string) (*measure.Measurement, []measure.Input, error) {
			return nil, nil, &vision.Refusal{Code: "no_sheet", Reason: "Not measured here.", Remedy: "-"}
		}
	})
	l := newLine(t, strings.TrimPrefix(base, "http://"))
	b := c.open(t, l.base, phone())
	b.goTo("#/jobs")
	b.waitText("No job fits")
	evaluate[bool](b, `navigator.serviceWorker.ready.then(() => true)`)
	id := b.newJob(`{"reference": "lost"}`)
	b.goTo("#/job/" + id + "/photos")
	b.waitText("Valves at the top")

	l.cutIn(100_000)
	b.choose("files-top-front", samplePhotos("front")...)
	b.waitFor(`document.querySelector('section[aria-labelledby="top-front"] .photo')?.innerText.includes('The photo is kept on this device')`)
	b.waitText("Photos waiting to be sent: 1")
	b.audit("lost")
	b.run(chromedp.Reload())
	b.waitText("No connection to rimpair")
	b.audit("lost-reloaded")
	l.mend()
	b.run(chromedp.Click("#main button"))
	b.waitFor(`document.querySelector('section[aria-labelledby="top-front"] .verdict.good')`)

	l.loseAnswer(100_000)
	b.choose("files-top-rear", samplePhotos("rear")...)
	b.waitFor(`document.querySelector('section[aria-labelledby="top-rear"] .verdict.good')`)
	assert.True(t, l.lost(), "an answer was lost")
	assert.Equal(t, "front.jpg rear.jpg", evaluate[string](b, `fetch('/api/jobs/`+id+`').then((each) => each.json()).then((job) => job.photos.map((each) => each.name).join(' '))`))
	b.waitFor(`document.querySelectorAll('.photo').length === 2`)
	b.waitFor(`document.getElementById('line').textContent === ''`)
}

// line is a way to a server that can be cut.
type line struct {
	t    *testing.T
	base string
	to   string

	mu          sync.Mutex
	open        map[net.Conn]bool
	cut         bool
	cutAfter    int // bytes sent over one connection after which all are cut; 0: never
	answerAfter int // bytes sent over one connection after which the answer is lost, once
	answerLost  bool
}

func newLine(t *testing.T, to string) *line {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	l := &line{t: t, base: "http://" + listener.Addr().String(), to: to, open: map[net.Conn]bool{}}
	go func() {
		for {
			from, err := listener.Accept()
			if err != nil {
				return
			}
			go l.carry(from)
		}
	}()
	t.Cleanup(func() {
		listener.Close()
		l.cutNow()
	})
	return l
}

func (l *line) cutIn(bytes int) { l.mu.Lock(); defer l.mu.Unlock(); l.cutAfter = bytes }

func (l *line) loseAnswer(after int) { l.mu.Lock(); defer l.mu.Unlock(); l.answerAfter = after }

func (l *line) lost() bool { l.mu.Lock(); defer l.mu.Unlock(); return l.answerLost }

func (l *line) mend() { l.mu.Lock(); defer l.mu.Unlock(); l.cut, l.cutAfter = false, 0 }

func (l *line) cutNow() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = true
	for c := range l.open {
		c.Close()
	}
}

// keep takes a connection in, unless the line is cut.
func (l *line) keep(c net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cut {
		c.Close()
		return false
	}
	l.open[c] = true
	return true
}

// carry carries one connection there and back until either end closes it.
func (l *line) carry(from net.Conn) {
	defer from.Close()
	if !l.keep(from) {
		return
	}
	to, err := net.Dial("tcp", l.to)
	if err != nil || !l.keep(to) {
		return
	}
	defer to.Close()
	sent := 0
	go func() {
		defer from.Close()
		defer to.Close()
		pass(from, to, func(int) bool { return !l.losesAnswer(&sent) })
	}()
	pass(to, from, func(n int) bool {
		l.mu.Lock()
		sent += n
		cut := l.cutAfter > 0 && sent > l.cutAfter
		l.mu.Unlock()
		if cut {
			l.cutNow()
		}
		return !cut
	})
}

// losesAnswer says whether this is the answer to lose.
func (l *line) losesAnswer(sent *int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	loses := l.answerAfter > 0 && !l.answerLost && *sent > l.answerAfter
	l.answerLost = l.answerLost || loses
	return loses
}

// pass copies as long as may allows what came.
func pass(to io.Writer, from io.Reader, may func(n int) bool) {
	buffer := make([]byte, 16<<10)
	for {
		n, err := from.Read(buffer)
		if n > 0 && !may(n) {
			return
		}
		if _, e := to.Write(buffer[:n]); err != nil || e != nil {
			return
		}
	}
}
