package serve

import (
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Server-sent events (WHATWG HTML, 9.2). A stream's events are numbered, and the
// latest are kept: a client that lost its line says the last it saw and gets the
// rest.

const eventsKept = 200

type event struct {
	number int
	name   string
	data   []byte
}

// stream is what happens to one job or review.
type stream struct {
	boot    string // tells the numbers of this run from those of an earlier one
	mu      sync.Mutex
	latest  []event
	count   int
	changed chan struct{} // closed at the next event
}

func newStream(boot string) *stream { return &stream{boot: boot, changed: make(chan struct{})} }

func (s *stream) send(name string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		log.Print(err) // a number that is not finite
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count++
	s.latest = append(s.latest, event{s.count, name, data})
	if len(s.latest) > eventsKept {
		s.latest = append([]event(nil), s.latest[1:]...)
	}
	close(s.changed)
	s.changed = make(chan struct{})
}

// since are the events after a number, and what says that there are more.
func (s *stream) since(number int) ([]event, <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	var list []event
	for _, e := range s.latest {
		if e.number > number {
			list = append(list, e)
		}
	}
	return list, s.changed
}

// seen is the number that Last-Event-ID names; without one the client wants what
// happens from now on.
func (s *stream) seen(id string) int {
	boot, number, _ := strings.Cut(id, "-")
	if n, err := strconv.Atoi(number); err == nil && boot == s.boot {
		return n
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.count
}

// serveEvents writes a stream until the client goes or the server closes.
func (s *Server) serveEvents(w http.ResponseWriter, r *http.Request, from *stream) error {
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		return busy("Too many pages are open.")
	}
	line := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	seen := from.seen(r.Header.Get("Last-Event-ID"))
	write := func(text string) bool {
		_ = line.SetWriteDeadline(time.Now().Add(answerTime))
		_, err := io.WriteString(w, text)
		return err == nil && line.Flush() == nil
	}
	if !write("retry: 2000\n\n") {
		return nil
	}
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		events, changed := from.since(seen)
		for _, e := range events {
			if !write(fmt.Sprintf("event: %s\nid: %s-%d\ndata: %s\n\n", e.name, from.boot, e.number, e.data)) {
				return nil
			}
			seen = e.number
		}
		select {
		case <-changed:
		case <-beat.C:
			if !write(": still here\n\n") {
				return nil
			}
		case <-r.Context().Done():
			return nil
		case <-s.closing.Done():
			return nil
		}
	}
}
