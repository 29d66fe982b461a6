package serve

import (
	"fmt"
	"log"
	"path/filepath"
	"slices"
	"sync"

	"rimpair/report/job"
	judging "rimpair/report/review"
)

// shoot is the photos of a job's stage while they are being taken.
type shoot struct {
	server *Server
	job    string // its folder in the store
	dir    string
	spool  spool
	stream *stream

	settling sync.Mutex

	mu      sync.Mutex
	shots   []*shot         // replaced, never changed in place
	coming  map[string]bool // keys of photos being sent
	running bool            // a measurement is
	again   bool            // with what came since
	latest  *measurement
}

// draftDir is the folder in a job's folder for photos that are no part of the record
// yet; the job package looks at no hidden folder.
const draftDir = ".taking"

// shootOf finds the shoot of a job, and begins what an earlier run left undone.
func (s *Server) shootOf(id string) (*shoot, error) {
	dir, err := s.jobDir(id)
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if t := s.shoots[id]; t != nil {
		return t, nil
	}
	t := &shoot{
		server: s, job: id, dir: dir, spool: spool(filepath.Join(dir, draftDir)), stream: newStream(s.boot),
		coming: map[string]bool{},
	}
	if err := t.recover(); err != nil {
		return nil, err
	}
	s.shoots[id] = t
	return t, nil
}

// recover takes up what lies on the disk. Photos that are in the record already were
// settled just before the server was killed.
func (t *shoot) recover() error {
	shots, err := t.spool.read()
	if err != nil {
		return err
	}
	recorded, err := recordedPhotos(t.dir)
	if err != nil {
		return err
	}
	for _, p := range shots {
		if recorded[p.SHA256] {
			if err := t.spool.remove(p.Key); err != nil {
				return err
			}
			continue
		}
		t.shots = append(t.shots, p)
	}
	for _, p := range t.shots {
		if p.Judged == nil {
			t.judgeSoon(p)
		}
	}
	t.measureSoon()
	return nil
}

// recordedPhotos are the SHA-256 of the photos in a job's record.
func recordedPhotos(dir string) (map[string]bool, error) {
	j, _, err := job.Read(dir)
	if err != nil {
		return nil, err
	}
	sums := map[string]bool{}
	for _, e := range j.Entries {
		for _, f := range e.Photos {
			sums[f.SHA256] = true
		}
	}
	return sums, nil
}

// find is the photo of a key, nil when there is none.
func (t *shoot) find(key string) *shot {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.known(key)
}

// known is find while the lock is held.
func (t *shoot) known(key string) *shot {
	i := slices.IndexFunc(t.shots, func(p *shot) bool { return p.Key == key })
	if i < 0 {
		return nil
	}
	return t.shots[i]
}

// expect says whether a photo is to be taken in. One that is there already is
// returned; else the caller must call arrived.
func (t *shoot) expect(key string) (*shot, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if p := t.known(key); p != nil {
		return p, nil
	}
	switch {
	case t.coming[key]:
		return nil, busy("This photo is being sent already.")
	case len(t.shots)+len(t.coming) >= photosPerJob:
		return nil, conflict("too_many_photos", fmt.Sprintf("A stage has %d photos at most.", photosPerJob), "Take photos away that are not needed.")
	}
	t.coming[key] = true
	return nil, nil
}

// arrived takes in what expect let come; nil when it did not arrive.
func (t *shoot) arrived(key string, p *shot) {
	t.mu.Lock()
	delete(t.coming, key)
	if p != nil {
		t.shots = append(slices.Clone(t.shots), p)
	}
	t.mu.Unlock()
	if p != nil {
		t.judgeSoon(p)
	}
}

// drop takes photos away.
func (t *shoot) drop(keys ...string) error {
	t.mu.Lock()
	err := t.spool.remove(keys...)
	t.shots = slices.DeleteFunc(slices.Clone(t.shots), func(p *shot) bool { return slices.Contains(keys, p.Key) })
	t.mu.Unlock()
	t.measureSoon()
	return err
}

func (t *shoot) judgeSoon(p *shot) {
	t.server.work.Go(func() {
		var beadSeatMm float64
		if j, _, err := job.Read(t.dir); err == nil {
			beadSeatMm = j.Vehicle.RimMm
		}
		j := t.server.judge(t.spool.path(p), beadSeatMm)
		if j == nil {
			return // the server closes: it is judged when it is up again
		}
		known := *p
		known.Judged = j
		t.mu.Lock()
		i := slices.IndexFunc(t.shots, func(q *shot) bool { return q.Key == p.Key })
		if i < 0 {
			t.mu.Unlock()
			return // taken away meanwhile
		}
		t.shots = slices.Clone(t.shots)
		t.shots[i] = &known
		if err := t.spool.describe(&known); err != nil {
			log.Print(err) // it is judged again after a restart
		}
		t.mu.Unlock()
		t.stream.send("judged", map[string]string{"key": p.Key})
		if j.Judgement.Verdict != judging.Repeat {
			t.measureSoon()
		}
	})
}

// pending says that photos wait to be judged or measured.
func (t *shoot) pending() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.running || len(t.coming) > 0 || slices.ContainsFunc(t.shots, func(p *shot) bool { return p.Judged == nil })
}
