package serve

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/gofrs/flock"
	"golang.org/x/net/netutil"
	"golang.org/x/sync/semaphore"

	"rimpair/measure"
	judging "rimpair/report/review"
	"rimpair/vision"
)

// Options are what a server is to do, and by what.
type Options struct {
	Store       string // folder of jobs
	LAN         bool   // want pairing
	Names       []string
	Certificate *tls.Certificate // nil: no TLS
	Language    string
	Version     string
	RunoutMm    float64 // to assume
	Pages       fs.FS
	// Measure measures photos of one position of the wheels, or of several together,
	// with the profile in a file, or with the one that fits.
	Measure func(positions []Position, settings measure.Settings, camera string) (*measure.Measurement, []measure.Input, error)
	// Judge says what a photo that began to be looked at then is worth; see judging.Judge.
	Judge  func(photo *vision.Photo, beadSeatMm float64, begun time.Time) judging.Judgement
	Review ReviewRun
	Paired func(client string) // is told of each device that was paired
}

// Server serves one store.
type Server struct {
	options Options
	boot    string // names this run
	names   map[string]bool
	store   *os.Root
	lock    *flock.Flock
	pairing *pairing
	clients clients

	closing context.Context // done when the server closes
	close   context.CancelFunc
	work    sync.WaitGroup // judging, measuring, reviewing

	heavy                                  *semaphore.Weighted
	uploads, streams, measuring, reviewing chan struct{}
	creating                               sync.Mutex

	mu      sync.Mutex
	shoots  map[string]*shoot
	reviews map[string]*review
}

// New opens a store, which only one server may have, and takes up what an earlier
// run left undone.
func New(o Options) (*Server, error) {
	if err := os.MkdirAll(o.Store, 0o755); err != nil {
		return nil, err
	}
	lock := flock.New(filepath.Join(o.Store, ".serve.lock"))
	if ok, err := lock.TryLock(); err != nil || !ok {
		return nil, errors.Join(fmt.Errorf("%s is served by another process already", o.Store), err)
	}
	store, err := os.OpenRoot(o.Store)
	if err != nil {
		return nil, err
	}
	s := &Server{
		options: o, boot: rand.Text()[:8], names: map[string]bool{"localhost": true}, store: store, lock: lock, pairing: newPairing(),
		heavy: semaphore.NewWeighted(heavyAtOnce), uploads: make(chan struct{}, uploadsAtOnce), streams: make(chan struct{}, streamsAtOnce),
		measuring: make(chan struct{}, 1), reviewing: make(chan struct{}, 1),
		shoots: map[string]*shoot{}, reviews: map[string]*review{},
	}
	for _, name := range o.Names {
		s.names[strings.ToLower(name)] = true
	}
	s.closing, s.close = context.WithCancel(context.Background())
	if err := s.recover(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// recover clears away what is unfinished and goes on with what was acknowledged.
func (s *Server) recover() error {
	entries, err := os.ReadDir(s.options.Store)
	if err != nil {
		return err
	}
	for _, e := range entries {
		switch {
		case strings.HasPrefix(e.Name(), ".export-"):
			if err := s.store.RemoveAll(e.Name()); err != nil {
				return err
			}
		case e.IsDir() && !strings.HasPrefix(e.Name(), "."):
			if _, err := s.store.Stat(filepath.Join(e.Name(), draftDir)); err != nil {
				continue
			}
			if _, err := s.shootOf(e.Name()); err != nil {
				log.Printf("%s: %v", e.Name(), err) // one bad job must not stop the others
			}
		}
	}
	return s.recoverReviews()
}

// NewCode makes a pairing code, in place of an earlier one.
func (s *Server) NewCode() string { return s.pairing.newCode() }

// Close waits for what is being written and lets go of the store.
func (s *Server) Close() error {
	s.close()
	s.work.Wait()
	return errors.Join(s.store.Close(), s.lock.Unlock())
}

// Serve answers on a listener until ctx is done, then ends in order: it takes no new
// requests, lets those that run end within closingTime, and begins no new judging or
// measuring. What was acknowledged lies on the disk.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	listener = netutil.LimitListener(listener, connections)
	if c := s.options.Certificate; c != nil {
		listener = tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{*c}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	server := &http.Server{
		Handler: s.Handler(), ReadHeaderTimeout: headerTime, IdleTimeout: idleTime, MaxHeaderBytes: headerBytes,
		ErrorLog: log.New(quiet{}, "", 0),
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(listener) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	s.close() // ends the event streams, which would never end by themselves
	timeout, cancel := context.WithTimeout(context.WithoutCancel(ctx), closingTime)
	defer cancel()
	if err := server.Shutdown(timeout); err != nil {
		return server.Close() // a client that is still sending was not acknowledged
	}
	return nil
}

// quiet drops what clients' broken handshakes and lines would log.
type quiet struct{}

func (quiet) Write(b []byte) (int, error) { return len(b), nil }

// route is one of the interface's.
type route struct {
	pattern string
	handle  func(http.ResponseWriter, *http.Request) error
}

func (s *Server) routes() []route {
	return []route{
		{"POST /api/pair", s.handlePair},
		{"GET /api/hello", s.handleHello},
		{"GET /api/sheets.pdf", s.handleSheets},
		{"GET /api/jobs", s.handleJobs},
		{"POST /api/jobs", s.handleNewJob},
		{"GET /api/jobs/{id}", s.handleJob},
		{"POST /api/jobs/{id}/vehicle", s.handleVehicle},
		{"POST /api/jobs/{id}/steering", s.handleSteering},
		{"POST /api/jobs/{id}/checks", s.handleChecks},
		{"POST /api/jobs/{id}/turned", s.handleTurned},
		{"POST /api/jobs/{id}/settle", s.handleSettle},
		{"GET /api/jobs/{id}/events", s.handleEvents},
		{"GET /api/jobs/{id}/stages/{n}/top", s.handleTop},
		{"GET /api/jobs/{id}/report.html", s.handleReport},
		{"GET /api/jobs/{id}/report.pdf", s.handleReport},
		{"GET /api/jobs/{id}/export.zip", s.handleExport},
		{"PUT /api/jobs/{id}/uploads/{key}", s.handleUpload},
		{"DELETE /api/jobs/{id}/uploads/{key}", s.handleDrop},
		{"GET /api/jobs/{id}/uploads/{key}/picture", s.handlePicture},
		{"POST /api/reviews", s.handleNewReview},
		{"GET /api/reviews/{id}", s.handleReview},
		{"GET /api/reviews/{id}/events", s.handleReviewEvents},
		{"POST /api/reviews/{id}/start", s.handleReviewStart},
		{"PUT /api/reviews/{id}/uploads/{key}", s.handleReviewUpload},
		{"GET /api/reviews/{id}/uploads/{key}/picture", s.handleReviewPicture},
	}
}

// Handler is all that the server answers, behind its guards.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.HandleFunc(r.pattern, func(w http.ResponseWriter, q *http.Request) {
			if err := r.handle(w, q); err != nil {
				answerSoon(w)
				fail(w, err)
			}
		})
	}
	mux.HandleFunc("/api/", func(w http.ResponseWriter, _ *http.Request) { fail(w, notFound("address")) })
	mux.HandleFunc("/", s.handlePage)
	return s.guarded(mux)
}

// handlePage serves the pages, which hold no data.
func (s *Server) handlePage(w http.ResponseWriter, r *http.Request) {
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" || name == "pair" {
		name = "index.html"
	}
	if info, err := fs.Stat(s.options.Pages, name); err != nil || info.IsDir() || r.Method != http.MethodGet && r.Method != http.MethodHead {
		fail(w, notFound("page"))
		return
	}
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeFileFS(w, r, s.options.Pages, name)
}

// handleHello lets a page ask whether it is paired.
func (s *Server) handleHello(w http.ResponseWriter, _ *http.Request) error {
	answer(w, http.StatusOK, map[string]string{"version": s.options.Version})
	return nil
}
