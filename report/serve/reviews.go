package serve

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"rimpair/report/job"
	judging "rimpair/report/review"
	"rimpair/vision"
)

// A review is a heap of photos, perhaps of several customers, that came from afar.
// Its folder in the store keeps the photos as they were acknowledged, and what was
// found when it is done; one that was running when the server was killed runs
// again.

const (
	reviewsDir   = ".reviews"
	reviewsMost  = 50
	startedName  = "started.json"
	foundName    = "found.json"
	reviewsAtDay = 30 * 24 * time.Hour // after which one is cleared away
)

// ReviewPhoto is a photo to be looked at.
type ReviewPhoto struct {
	Key, Path, Name string
	Modified        time.Time // by the client's clock; zero when not known
}

// ReviewRun looks at photos, groups, judges and measures them. What it returns is
// sent to the page as it is; progress may be called from any goroutine.
type ReviewRun func(ctx context.Context, photos []ReviewPhoto, hold judging.Hold, progress func(what string, done, of int)) (groups any, problems []ReviewProblem, err error)

// ReviewProblem is a file that could not be used, and belongs to no group.
type ReviewProblem struct {
	Name   string `json:"name"`
	Code   string `json:"code,omitempty"`
	Reason string `json:"reason"`
}

// review is one of them.
type review struct {
	id     string
	dir    string
	spool  spool
	stream *stream

	mu       sync.Mutex
	shots    []*shot
	coming   map[string]bool
	state    string // open, running, done
	what     string
	done, of int
	groups   json.RawMessage
	problems []ReviewProblem
}

type reviewView struct {
	ID       string          `json:"id"`
	State    string          `json:"state"`
	Done     int             `json:"done"`
	Of       int             `json:"of"`
	What     string          `json:"what"`
	Photos   []photoView     `json:"photos"`
	Groups   json.RawMessage `json:"groups"`
	Problems []ReviewProblem `json:"problems"`
}

// found is what a review came to, as it is kept.
type found struct {
	Groups   json.RawMessage `json:"groups"`
	Problems []ReviewProblem `json:"problems"`
}

func (s *Server) newReview(id string) *review {
	dir := filepath.Join(s.options.Store, reviewsDir, id)
	return &review{id: id, dir: dir, spool: spool(filepath.Join(dir, "photos")), stream: newStream(s.boot), coming: map[string]bool{}, state: "open"}
}

func (s *Server) handleNewReview(w http.ResponseWriter, _ *http.Request) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.reviews) >= reviewsMost {
		return conflict("too_many_photos", "There are too many reviews already.", "Restart the server a month after the oldest, or clear the folder "+reviewsDir+" in the store.")
	}
	v := s.newReview(strings.ToLower(rand.Text()))
	if err := os.MkdirAll(string(v.spool), 0o755); err != nil {
		return err
	}
	for _, d := range []string{v.dir, filepath.Dir(v.dir), s.options.Store} {
		if err := job.SyncDir(d); err != nil {
			return err
		}
	}
	s.reviews[v.id] = v
	answer(w, http.StatusCreated, map[string]string{"id": v.id})
	return nil
}

// recoverReviews takes up what earlier runs left.
func (s *Server) recoverReviews() error {
	entries, err := os.ReadDir(filepath.Join(s.options.Store, reviewsDir))
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.IsDir() || !goodKey.MatchString(e.Name()) {
			continue
		}
		v := s.newReview(e.Name())
		if info, err := e.Info(); err == nil && time.Since(info.ModTime()) > reviewsAtDay {
			if err := os.RemoveAll(v.dir); err != nil {
				return err
			}
			continue
		}
		if err := v.recover(); err != nil {
			return err
		}
		s.reviews[v.id] = v
		if v.state == "running" {
			s.work.Go(func() { s.runReview(v) })
		}
	}
	return nil
}

func (v *review) recover() (err error) {
	if v.shots, err = v.spool.read(); err != nil {
		return err
	}
	if content, err := os.ReadFile(filepath.Join(v.dir, foundName)); err == nil {
		var f found
		if err := json.Unmarshal(content, &f); err != nil {
			return fmt.Errorf("%s: %w", v.dir, err)
		}
		v.state, v.groups, v.problems = "done", f.Groups, f.Problems
		return nil
	}
	if _, err := os.Stat(filepath.Join(v.dir, startedName)); err == nil {
		v.state = "running"
	}
	return nil
}

func (s *Server) reviewOf(r *http.Request) (*review, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := s.reviews[r.PathValue("id")]
	if v == nil {
		return nil, notFound("review")
	}
	return v, nil
}

func (s *Server) handleReviewUpload(w http.ResponseWriter, r *http.Request) error {
	v, err := s.reviewOf(r)
	if err != nil {
		return err
	}
	p, err := shotFrom(r)
	if err != nil {
		return err
	}
	done, err := s.uploading(r)
	if err != nil {
		return err
	}
	defer done()
	if known, err := v.expect(p.Key); err != nil || known != nil {
		if known != nil {
			answer(w, http.StatusOK, map[string]photoView{"photo": viewOf(known)})
		}
		return err
	}
	limit := int64(photoBytes)
	if isArchive(p) {
		limit = archiveBytes
	}
	content, err := body(w, r, limit)
	if err == nil {
		err = v.spool.put(p, content)
	}
	v.mu.Lock()
	delete(v.coming, p.Key)
	if err == nil {
		v.shots = append(v.shots, p)
	}
	v.mu.Unlock()
	if err != nil {
		return err
	}
	answerSoon(w)
	answer(w, http.StatusCreated, map[string]photoView{"photo": viewOf(p)})
	return nil
}

func isArchive(p *shot) bool {
	return strings.EqualFold(filepath.Ext(p.File), ".zip") || strings.EqualFold(filepath.Ext(p.Name), ".zip")
}

func (v *review) expect(key string) (*shot, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if i := slices.IndexFunc(v.shots, func(p *shot) bool { return p.Key == key }); i >= 0 {
		return v.shots[i], nil
	}
	switch {
	case v.state != "open":
		return nil, conflict("too_late", "The review has begun.", "Begin another one.")
	case v.coming[key]:
		return nil, busy("This photo is being sent already.")
	case len(v.shots)+len(v.coming) >= reviewPhotos:
		return nil, conflict("too_many_photos", fmt.Sprintf("A review has %d photos at most.", reviewPhotos), "Begin another one.")
	}
	v.coming[key] = true
	return nil, nil
}

func (s *Server) handleReviewStart(w http.ResponseWriter, r *http.Request) error {
	v, err := s.reviewOf(r)
	if err != nil {
		return err
	}
	if s.options.Review == nil {
		return conflict("not_there", "This server reviews no photos.", "Use rimpair measure.")
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	switch {
	case v.state != "open": // a repeat is no mistake
	case len(v.coming) > 0:
		return conflict("still_measuring", "Photos are still arriving.", "Wait until all have arrived.")
	case len(v.shots) == 0:
		return conflict("not_measured", "There is no photo.", "Add photos first.")
	default:
		if err := job.WriteFile(filepath.Join(v.dir, startedName), func(w io.Writer) error { return json.NewEncoder(w).Encode(now()) }); err != nil {
			return err
		}
		v.state = "running"
		s.work.Go(func() { s.runReview(v) })
	}
	answer(w, http.StatusOK, struct{}{})
	return nil
}

// runReview unpacks archives and looks at everything. One review runs at a time.
func (s *Server) runReview(v *review) {
	select {
	case s.reviewing <- struct{}{}:
		defer func() { <-s.reviewing }()
	case <-s.closing.Done():
		return
	}
	groups, problems, err := s.reviewAll(v)
	if s.closing.Err() != nil {
		return // it begins again when the server is up
	}
	if err != nil {
		log.Print(err)
		problems = append(problems, ReviewProblem{Reason: "The review ended too early; what went wrong stands in the terminal."})
	}
	content, err := json.Marshal(groups)
	if err != nil {
		log.Print(err)
		content = []byte("[]")
	}
	kept := found{content, problems}
	if err := job.WriteFile(filepath.Join(v.dir, foundName), func(w io.Writer) error { return json.NewEncoder(w).Encode(kept) }); err != nil {
		log.Print(err) // it runs again after a restart
	}
	v.mu.Lock()
	v.state, v.groups, v.problems = "done", content, problems
	v.mu.Unlock()
	v.stream.send("done", struct{}{})
}

func (s *Server) reviewAll(v *review) (groups any, problems []ReviewProblem, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("reviewing failed: %v\n%s", p, debug.Stack())
		}
	}()
	problems, err = v.unpackArchives()
	if err != nil {
		return nil, problems, err
	}
	v.mu.Lock()
	var photos []ReviewPhoto
	for _, p := range v.shots {
		photos = append(photos, ReviewPhoto{p.Key, v.spool.path(p), p.Name, p.Modified})
	}
	v.mu.Unlock()
	groups, bad, err := s.options.Review(s.closing, photos, s.holdGrey, v.progress)
	return groups, append(problems, bad...), err
}

func (v *review) progress(what string, done, of int) {
	v.mu.Lock()
	v.what, v.done, v.of = what, done, of
	v.mu.Unlock()
	v.stream.send("progress", map[string]any{"what": what, "done": done, "of": of})
}

// unpackArchives replaces archives by the photos in them.
func (v *review) unpackArchives() (problems []ReviewProblem, err error) {
	v.mu.Lock()
	shots := v.shots
	v.mu.Unlock()
	var photos []*shot
	known := map[string]bool{}
	for _, p := range shots {
		if !isArchive(p) {
			known[p.Key] = true
			photos = append(photos, p)
		}
	}
	for _, p := range shots {
		if !isArchive(p) {
			continue
		}
		v.progress("unpack", 0, 0)
		inside, bad, err := unpackPhotos(v.spool.path(p), p, v.spool, reviewPhotos-len(photos))
		problems = append(problems, bad...)
		if err != nil {
			return problems, err
		}
		for _, q := range inside { // an earlier run may have unpacked some
			if !known[q.Key] {
				photos = append(photos, q)
			}
		}
		if err := v.spool.remove(p.Key); err != nil {
			return problems, err
		}
	}
	v.mu.Lock()
	v.shots = photos
	v.mu.Unlock()
	return problems, nil
}

func (s *Server) handleReview(w http.ResponseWriter, r *http.Request) error {
	v, err := s.reviewOf(r)
	if err != nil {
		return err
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	view := reviewView{ID: v.id, State: v.state, Done: v.done, Of: v.of, What: v.what, Groups: v.groups, Photos: []photoView{}, Problems: append([]ReviewProblem{}, v.problems...)}
	if view.Groups == nil {
		view.Groups = json.RawMessage("[]")
	}
	for _, p := range v.shots {
		view.Photos = append(view.Photos, viewOf(p))
	}
	return s.answerIn(w, r, view)
}

func (s *Server) handleReviewPicture(w http.ResponseWriter, r *http.Request) error {
	v, err := s.reviewOf(r)
	if err != nil {
		return err
	}
	v.mu.Lock()
	i := slices.IndexFunc(v.shots, func(p *shot) bool { return p.Key == r.PathValue("key") })
	var p *shot
	if i >= 0 {
		p = v.shots[i]
	}
	v.mu.Unlock()
	if p == nil || isArchive(p) {
		return notFound("photo")
	}
	j := p.Judged
	if j == nil {
		// For its orientation: the review judges it.
		j = s.look(v.spool.path(p), func(*vision.Photo, time.Time) judging.Judgement { return judging.Judgement{} })
		v.mu.Lock()
		known := *p
		known.Judged = j
		if i < len(v.shots) && v.shots[i] == p {
			v.shots[i] = &known
		}
		v.mu.Unlock()
	}
	return s.answerPicture(w, r, v.spool.path(p), j, nil)
}

func (s *Server) handleReviewEvents(w http.ResponseWriter, r *http.Request) error {
	v, err := s.reviewOf(r)
	if err != nil {
		return err
	}
	return s.serveEvents(w, r, v.stream)
}
