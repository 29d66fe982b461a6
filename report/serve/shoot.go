package serve

import (
	"errors"
	"fmt"
	"log"
	"maps"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"

	"rimpair/measure"
	"rimpair/report/job"
	judging "rimpair/report/review"
	"rimpair/vision"
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
	rulers  rulers
	running bool // a measurement is
	again   bool // with what came since
	sets    map[string]*set
}

// rulers is what the printed rulers really measure, kept beside the photos.
type rulers struct {
	X float64 `json:"ruler_x_mm"`
	Y float64 `json:"ruler_y_mm"`
}

// set is the photos of one position of the wheels, measured.
type set struct {
	of          string // what was measured, to tell when it is out of date
	keys        []string
	shots       []*shot
	measurement *measure.Measurement // nil when refused
	inputs      []measure.Input      // without their pixels
	refusal     *vision.Refusal
}

// measuredSet and measured are what a page is told.
type measuredSet struct {
	Position string          `json:"position"`
	Result   *measure.Result `json:"result,omitempty"`
	Refused  *vision.Refusal `json:"refused,omitempty"`
}

type measured struct {
	State string `json:"state"` // measuring, done
	measuredSet
	Sets     []measuredSet     `json:"sets"`
	Toe      *measure.Quantity `json:"toe"`
	HalfTurn bool              `json:"half_turn"`
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
		coming: map[string]bool{}, sets: map[string]*set{},
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
	t.rulers, err = t.spool.rulers()
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
		j := t.server.judge(t.spool.path(p))
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
		t.stream.send("judged", map[string]any{"key": p.Key, "judgement": j.Judgement})
		if j.Judgement.Verdict != judging.Repeat {
			t.measureSoon()
		}
	})
}

// measureSoon measures what is there, now or when the running measurement is done.
func (t *shoot) measureSoon() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.running {
		t.again = true
		return
	}
	if len(t.goodSets()) == 0 && len(t.sets) == 0 {
		return
	}
	t.running = true
	t.server.work.Go(t.measure)
}

// goodSets are the photos worth measuring, by position. The lock is held.
func (t *shoot) goodSets() map[string][]*shot {
	sets := map[string][]*shot{}
	for _, p := range t.shots {
		if p.Judged != nil && p.Judged.Judgement.Verdict != judging.Repeat {
			sets[p.Position] = append(sets[p.Position], p)
		}
	}
	return sets
}

// measure measures until the newest set is done.
func (t *shoot) measure() {
	for {
		t.mu.Lock()
		todo, known, printed := t.goodSets(), t.sets, t.rulers
		t.again = false
		t.mu.Unlock()
		t.stream.send("measured", t.told("measuring"))
		sets := map[string]*set{}
		for _, position := range slices.Sorted(maps.Keys(todo)) {
			sets[position] = t.measureSet(todo[position], known[position], printed)
		}
		t.mu.Lock()
		if t.server.closing.Err() != nil {
			t.running = false
			t.mu.Unlock()
			return
		}
		t.sets = sets
		done := !t.again
		t.running = !done
		t.mu.Unlock()
		if done {
			t.stream.send("measured", t.told("done"))
			return
		}
	}
}

// vehicleOf is what a job knows of its vehicle, and the file of its camera's profile.
func vehicleOf(dir string) (v job.Vehicle, camera string, err error) {
	j, _, err := job.Read(dir)
	if err != nil {
		return v, "", err
	}
	if p := j.Vehicle.CameraProfile; p != nil {
		camera = filepath.Join(dir, filepath.FromSlash(p.File))
	}
	return j.Vehicle, camera, nil
}

// measureSet measures photos of one position, where they are not measured already.
func (t *shoot) measureSet(shots []*shot, known *set, printed rulers) *set {
	vehicle, camera, err := vehicleOf(t.dir)
	if err != nil {
		return &set{shots: shots, refusal: failed(err)}
	}
	settings := measure.Settings{BeadSeatMm: vehicle.RimMm, RunoutMm: t.server.options.RunoutMm, RulerMm: [2]float64{printed.X, printed.Y}}
	done := &set{shots: shots}
	for _, p := range shots {
		done.keys = append(done.keys, p.Key)
	}
	done.of = fmt.Sprint(done.keys, settings, camera)
	if known != nil && known.of == done.of {
		return known
	}
	t.server.measureShots(done, t.spool, settings, camera)
	return done
}

// measureShots measures one set at a time, whatever the photos do to the measuring.
func (s *Server) measureShots(done *set, from spool, settings measure.Settings, camera string) {
	defer func() {
		if p := recover(); p != nil {
			log.Printf("measuring failed: %v\n%s", p, debug.Stack())
			done.measurement, done.refusal = nil, failed(errors.New("measuring failed"))
		}
	}()
	select {
	case s.measuring <- struct{}{}:
		defer func() { <-s.measuring }()
	case <-s.closing.Done():
		return
	}
	release, err := s.holdPixels(0)
	if err != nil {
		return
	}
	defer release()
	var paths []string
	for _, p := range done.shots {
		paths = append(paths, from.path(p))
	}
	m, inputs, err := s.options.Measure(paths, settings, camera)
	var refusal *vision.Refusal
	switch {
	case errors.As(err, &refusal):
		done.refusal = byKey(refusal, done.shots, paths)
	case err != nil:
		done.refusal = failed(err)
	default:
		for i := range inputs {
			photo := *inputs[i].Photo
			photo.Gray = nil // the pixels are not wanted any more
			inputs[i].Photo = &photo
		}
		done.measurement, done.inputs = m, inputs
	}
}

// failed is a measurement that went wrong for no fault of the photos.
func failed(err error) *vision.Refusal {
	log.Print(err)
	return &vision.Refusal{Code: "failed", Reason: "The photos could not be measured.", Remedy: "Try again; what went wrong stands in the terminal."}
}

// byKey names the photo of a refusal by its key.
func byKey(r *vision.Refusal, shots []*shot, paths []string) *vision.Refusal {
	named := *r
	for i, path := range paths {
		if r.Photo == path {
			named.Photo = shots[i].Key
		}
	}
	return &named
}

// told is the state of the measuring as a page is told.
func (t *shoot) told(state string) measured {
	t.mu.Lock()
	sets := t.sets
	t.mu.Unlock()
	m := measured{State: state, Sets: []measuredSet{}}
	var rims []measure.Quantity
	for _, position := range slices.Sorted(maps.Keys(sets)) {
		one := measuredSet{Position: position, Refused: sets[position].refusal}
		if found := sets[position].measurement; found != nil {
			one.Result = sets[position].named()
			rims = append(rims, one.Result.RimTotalToeMm)
			m.Toe, m.measuredSet = &one.Result.TotalToeMm, one
		} else if m.Result == nil {
			m.measuredSet = one
		}
		m.Sets = append(m.Sets, one)
	}
	if halfTurn(sets) {
		toe := measure.HalfTurnMean(rims[0], rims[1])
		m.Toe, m.HalfTurn = &toe, true
	}
	return m
}

// halfTurn says that two positions half a turn apart are measured.
func halfTurn(sets map[string]*set) bool {
	top, bottom := sets["top"], sets["bottom"]
	return len(sets) == 2 && top != nil && bottom != nil && top.measurement != nil && bottom.measurement != nil
}

// named is the result with the photos' keys in place of their names, which need not
// differ.
func (s *set) named() *measure.Result {
	r := s.measurement.Result
	r.Photos = slices.Clone(r.Photos)
	for i := range r.Photos {
		r.Photos[i].File = s.keys[i]
	}
	return &r
}

// state is "" before anything can be measured.
func (t *shoot) state() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case t.running:
		return "measuring"
	case len(t.sets) > 0:
		return "done"
	}
	return ""
}

// pending says that photos wait to be judged or measured.
func (t *shoot) pending() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.running || len(t.coming) > 0 || slices.ContainsFunc(t.shots, func(p *shot) bool { return p.Judged == nil })
}

// overlay is what was measured in a photo, nil when nothing was.
func (t *shoot) overlay(key string) *measure.Overlay {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, s := range t.sets {
		if i := slices.Index(s.keys, key); i >= 0 && s.measurement != nil {
			return &s.measurement.Overlays[i]
		}
	}
	return nil
}
