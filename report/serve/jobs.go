package serve

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// jobDir is the folder of a job, by the name of the folder: one in the store, never a
// way out of it.
func (s *Server) jobDir(id string) (string, error) {
	if id == "" || strings.HasPrefix(id, ".") || strings.ContainsAny(id, "/\\\x00:") || !filepath.IsLocal(id) {
		return "", notFound("job")
	}
	info, err := s.store.Lstat(id)
	if err != nil || !info.IsDir() {
		return "", notFound("job")
	}
	if _, err := s.store.Lstat(id + "/job.json"); err != nil {
		return "", notFound("job")
	}
	return filepath.Join(s.options.Store, id), nil
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

// language is the first of the client's that there is.
func (s *Server) language(r *http.Request) *report.Language {
	asked := []string{r.URL.Query().Get("language")}
	for part := range strings.SplitSeq(r.Header.Get("Accept-Language"), ",") {
		code, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		code, _, _ = strings.Cut(code, "-")
		asked = append(asked, strings.ToLower(code))
	}
	for _, code := range append(asked, s.options.Language) {
		if l, err := report.NewLanguage(code); err == nil {
			return l
		}
	}
	l, err := report.NewLanguage("en")
	if err != nil {
		panic(err) // it is part of the program
	}
	return l
}

type listedJob struct {
	ID        string            `json:"id"`
	Reference string            `json:"reference"`
	Customer  string            `json:"customer"`
	Vehicle   string            `json:"vehicle"`
	Updated   time.Time         `json:"updated"`
	Stage     string            `json:"stage"`
	State     string            `json:"state"`
	Toe       *measure.Quantity `json:"toe"`
	Warning   string            `json:"warning"`
}

func (s *Server) handleJobs(w http.ResponseWriter, r *http.Request) error {
	all, err := job.List(s.options.Store)
	if err != nil {
		return err
	}
	search := strings.ToLower(r.URL.Query().Get("search"))
	l := s.language(r)
	list := []listedJob{}
	for _, one := range all {
		text := strings.ToLower(strings.Join([]string{one.Dir, one.Reference, one.Customer, one.Vehicle}, "\n"))
		if !strings.Contains(text, search) {
			continue
		}
		list = append(list, s.listed(one, l))
	}
	answer(w, http.StatusOK, list)
	return nil
}

func (s *Server) listed(one job.Listed, l *report.Language) listedJob {
	v := listedJob{
		ID: one.Dir, Reference: one.Reference, Customer: one.Customer, Vehicle: one.Vehicle, Updated: one.Latest, Stage: string(one.Stage),
	}
	if one.Err != nil {
		v.Warning = one.Err.Error()
		return v
	}
	if one.Stage != "" {
		v.Toe = &one.TotalToeMm
	}
	if j, _, err := job.Read(filepath.Join(s.options.Store, one.Dir)); err == nil {
		v.State = report.JobNext(j, l)
		v.Warning = strings.Join(report.JobAlarms(j, l), " ")
	}
	return v
}

// told is what a page may tell of a job.
type told struct {
	Reference string       `json:"reference"`
	Customer  string       `json:"customer"`
	Vehicle   *toldVehicle `json:"vehicle"`
	rulers
}

type toldVehicle struct {
	Name     string            `json:"name"`
	RimMm    float64           `json:"rim_mm"`
	Track    *measure.Known    `json:"track_mm"`
	Base     *measure.Known    `json:"wheelbase_mm"`
	Steering *measure.Steering `json:"steering"`
}

// check says what cannot be.
func (t *told) check() error {
	texts := t.Reference + t.Customer
	if v := t.Vehicle; v != nil {
		texts += v.Name
		if v.RimMm != 0 && (v.RimMm < 200 || v.RimMm > 700) {
			return badRequest("The rim's size is its bead seat diameter in mm, such as 406, not %g.", v.RimMm)
		}
		if v.Steering != nil {
			if err := checkSteering(v.Steering); err != nil {
				return err
			}
		}
	}
	if len(texts) > longestText {
		return badRequest("The names are too long.")
	}
	for _, mm := range []float64{t.X, t.Y} {
		if mm != 0 && (mm < 50 || mm > 150) {
			return badRequest("The printed 100 mm ruler measures 50 to 150 mm, not %g.", mm)
		}
	}
	return nil
}

func checkSteering(v *measure.Steering) error {
	if v.Thread != "" {
		if _, err := measure.ParseThread(v.Thread); err != nil {
			return badRequest("The thread cannot be read: %v.", err)
		}
	}
	v.Record = nil // that is in the job's entries
	return nil
}

// apply puts what was told over what is known.
func (t *told) apply(j *job.Job) {
	if t.Reference != "" {
		j.Reference = t.Reference
	}
	if t.Customer != "" {
		j.Customer = t.Customer
	}
	v := t.Vehicle
	if v == nil {
		return
	}
	if v.Name != "" {
		j.Vehicle.Name = v.Name
	}
	if v.RimMm != 0 {
		j.Vehicle.RimMm = v.RimMm
	}
	if v.Track != nil {
		j.Vehicle.TrackMm = v.Track
	}
	if v.Base != nil {
		j.Vehicle.WheelbaseMm = v.Base
	}
	if v.Steering != nil {
		j.Vehicle.Steering = *v.Steering
	}
}

func (s *Server) handleNewJob(w http.ResponseWriter, r *http.Request) error {
	var t told
	if err := readJSON(w, r, &t); err != nil {
		return err
	}
	if err := t.check(); err != nil {
		return err
	}
	j := job.Job{Created: now()}
	t.apply(&j)
	id, err := s.createJob(j)
	if err != nil {
		return err
	}
	if t.rulers != (rulers{}) {
		if err := spool(filepath.Join(s.options.Store, id, draftDir)).setRulers(t.rulers); err != nil {
			return err
		}
	}
	answer(w, http.StatusCreated, map[string]string{"id": id})
	return nil
}

// createJob makes a folder with a name of its own.
func (s *Server) createJob(j job.Job) (id string, err error) {
	name := j.Reference
	if name == "" {
		name = j.Created.Format("2006-01-02") + " " + j.Customer
	}
	stem := strings.ReplaceAll(job.PlainName(name), " ", "-")
	s.creating.Lock()
	defer s.creating.Unlock()
	for n := 1; ; n++ {
		id := stem
		if n > 1 {
			id = fmt.Sprintf("%s-%d", stem, n)
		}
		if _, err := s.store.Lstat(id); errors.Is(err, fs.ErrNotExist) {
			return id, job.Create(filepath.Join(s.options.Store, id), j)
		} else if err != nil {
			return "", err
		}
	}
}

func now() time.Time { return time.Now().UTC().Truncate(time.Second) }

func (s *Server) handleVehicle(w http.ResponseWriter, r *http.Request) error {
	var t told
	return s.change(w, r, &t, func(at *shoot, d *job.Draft) error {
		if err := t.check(); err != nil {
			return err
		}
		t.apply(d.Job)
		return nil
	}, func(at *shoot) error {
		if t.rulers != (rulers{}) {
			if err := at.spool.setRulers(t.rulers); err != nil {
				return err
			}
			at.mu.Lock()
			at.rulers = t.rulers
			at.mu.Unlock()
		}
		at.measureSoon()
		return nil
	})
}

func (s *Server) handleSteering(w http.ResponseWriter, r *http.Request) error {
	var steering measure.Steering
	return s.change(w, r, &steering, func(_ *shoot, d *job.Draft) error {
		if err := checkSteering(&steering); err != nil {
			return err
		}
		d.Vehicle.Steering = steering
		return nil
	}, nil)
}

type toldCheck struct {
	Check  string     `json:"check"`
	Result job.Result `json:"result"`
	Note   string     `json:"note"`
}

func (s *Server) handleChecks(w http.ResponseWriter, r *http.Request) error {
	var t struct {
		toldCheck
		Checks []toldCheck `json:"checks"`
	}
	return s.change(w, r, &t, func(_ *shoot, d *job.Draft) error {
		list := t.Checks
		if t.Check != "" {
			list = append(list, t.toldCheck)
		}
		if len(list) == 0 || len(list) > len(job.Checks()) {
			return badRequest("There is no check.")
		}
		for _, c := range list {
			if _, ok := job.CheckByID(c.Check); !ok || !slices.Contains(job.Results(), c.Result) || len(c.Note) > longestText {
				return badRequest("There is no check %q with the result %q.", c.Check, c.Result)
			}
			d.Append(job.Entry{At: now(), Check: &job.Check{ID: c.Check, Result: c.Result}, Note: c.Note})
		}
		return nil
	}, nil)
}

func (s *Server) handleTurned(w http.ResponseWriter, r *http.Request) error {
	var t struct {
		Turned []job.Turned `json:"turned"`
		Note   string       `json:"note"`
	}
	return s.change(w, r, &t, func(at *shoot, d *job.Draft) error {
		known := func(one job.Turned) bool {
			return slices.Contains(job.Rods(), one.Rod) && one.LongerByTurns != 0 && one.LongerByTurns >= -20 && one.LongerByTurns <= 20
		}
		if len(t.Turned) == 0 || len(t.Turned) > len(job.Rods()) || len(t.Note) > longestText || slices.ContainsFunc(t.Turned, func(one job.Turned) bool { return !known(one) }) {
			return badRequest("Say which rod was turned, and by how many turns longer or shorter.")
		}
		inspected, err := job.Inspect(at.dir)
		if err != nil {
			return err
		}
		turns := &job.Adjustment{Turned: t.Turned}
		if advice := inspected.Advice(); advice != nil {
			var content bytes.Buffer
			if err := report.AdjustJSON(&content, *advice); err != nil {
				return err
			}
			turns.Advice = content.Bytes()
		}
		d.Append(job.Entry{At: now(), Adjustment: turns, Note: t.Note})
		return nil
	}, nil)
}

// change reads a request's body into v, changes the job's record, and does what
// follows from it.
func (s *Server) change(w http.ResponseWriter, r *http.Request, v any, record func(*shoot, *job.Draft) error, then func(*shoot) error) error {
	at, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	if err := readJSON(w, r, v); err != nil {
		return err
	}
	if err := job.Update(at.dir, func(d *job.Draft) error { return record(at, d) }); err != nil {
		return err
	}
	if then != nil {
		if err := then(at); err != nil {
			return err
		}
	}
	answer(w, http.StatusOK, struct{}{})
	return nil
}

type checkView struct {
	ID          string     `json:"id"`
	Result      job.Result `json:"result"`
	Meaningless bool       `json:"meaningless"`
	Unsafe      bool       `json:"unsafe"`
	Note        string     `json:"note"`
}

type stageView struct {
	Number int              `json:"number"` // entry, counted from 1
	Stage  job.Stage        `json:"stage"`
	At     time.Time        `json:"at"`
	Valves string           `json:"valves"`
	Toe    measure.Quantity `json:"total_toe_mm"`
	RimToe measure.Quantity `json:"rim_total_toe_mm"`
	Top    bool             `json:"top"`
}

type jobView struct {
	ID     string   `json:"id"`
	Record *job.Job `json:"record"`
	Next   struct {
		Task  string    `json:"task"`
		Stage job.Stage `json:"stage"`
		Text  string    `json:"text"`
	} `json:"next"`
	Target struct {
		AimMm  float64 `json:"aim_mm"`
		LowMm  float64 `json:"low_mm"`
		HighMm float64 `json:"high_mm"`
	} `json:"target"`
	Alarms   []string        `json:"alarms"`
	Checks   []checkView     `json:"checks"`
	Stages   []stageView     `json:"stages"`
	Photos   []photoView     `json:"photos"`
	Measured *measured       `json:"measured"`
	Advice   json.RawMessage `json:"advice"`
	Damage   []job.Damage    `json:"damage"`
	rulers
}

// tasks are their names for pages.
var tasks = map[job.Task]string{
	job.ClearFailures: "clear", job.DoChecks: "checks", job.Measure: "measure", job.Adjust: "adjust",
	job.TightenFirst: "first", job.TightenSecond: "second", job.RideAndMeasure: "ride", job.Wait: "wait",
}

func (s *Server) handleJob(w http.ResponseWriter, r *http.Request) error {
	at, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	inspected, err := job.Inspect(at.dir)
	if err != nil {
		return err
	}
	view, err := at.view(inspected, s.language(r))
	if err != nil {
		return err
	}
	answer(w, http.StatusOK, view)
	return nil
}

func (t *shoot) view(j *job.Inspected, l *report.Language) (*jobView, error) {
	v := &jobView{ID: t.job, Record: j.Job, Alarms: append([]string{}, report.JobAlarms(j.Job, l)...), Stages: []stageView{}, Photos: []photoView{}, Damage: append([]job.Damage{}, j.Damage...)}
	next, target := j.Next(), j.Target()
	v.Next.Task, v.Next.Stage, v.Next.Text = tasks[next.Task], next.Stage, report.JobNext(j.Job, l)
	v.Target.AimMm, v.Target.LowMm, v.Target.HighMm = target.AimMm, target.LowMm, target.HighMm
	for _, c := range job.Checks() {
		one := checkView{ID: c.ID, Meaningless: c.Meaningless, Unsafe: c.Unsafe}
		if e := j.LastCheck(c.ID); e != nil {
			one.Result, one.Note = e.Check.Result, e.Note
		}
		v.Checks = append(v.Checks, one)
	}
	for i, e := range j.Entries {
		if m := e.Measurement; m != nil {
			v.Stages = append(v.Stages, stageView{i + 1, m.Stage, e.At, m.Valves, m.TotalToeMm, m.RimTotalToeMm, topOf(&e) != nil})
		}
	}
	t.mu.Lock()
	v.rulers = t.rulers
	for _, p := range t.shots {
		v.Photos = append(v.Photos, viewOf(p))
	}
	t.mu.Unlock()
	if state := t.state(); state != "" {
		m := t.told(state)
		v.Measured = &m
	}
	if advice := j.Advice(); advice != nil {
		var content bytes.Buffer
		if err := report.AdjustJSON(&content, *advice); err != nil {
			return nil, err
		}
		v.Advice = content.Bytes()
	}
	return v, nil
}

// topOf is the view from above of a measured entry, which is its last picture.
func topOf(e *job.Entry) *job.File {
	n := len(e.Pictures)
	if e.Measurement == nil || n == 0 || n <= len(e.Photos) {
		return nil
	}
	return &e.Pictures[n-1]
}

func (s *Server) handleTop(w http.ResponseWriter, r *http.Request) error {
	dir, err := s.jobDir(r.PathValue("id"))
	if err != nil {
		return err
	}
	j, _, err := job.Read(dir)
	if err != nil {
		return err
	}
	var number int
	if _, err := fmt.Sscanf(r.PathValue("n"), "%d", &number); err != nil || number < 1 || number > len(j.Entries) {
		return notFound("stage")
	}
	top := topOf(&j.Entries[number-1])
	if top == nil {
		return notFound("picture")
	}
	content, err := report.JobPictureIn(dir)(*top)
	if err != nil {
		return notFound("picture")
	}
	w.Header().Set("Content-Type", "image/jpeg")
	_, _ = w.Write(content)
	return nil
}

func (s *Server) handleAdvice(w http.ResponseWriter, r *http.Request) error {
	dir, err := s.jobDir(r.PathValue("id"))
	if err != nil {
		return err
	}
	j, err := job.Inspect(dir)
	if err != nil {
		return err
	}
	advice := j.Advice()
	if advice == nil {
		return conflict("no_advice", "There is nothing to advise now.", "Measure, and describe the steering with the thread of its rod ends.")
	}
	var content bytes.Buffer
	if err := report.AdjustJSON(&content, *advice); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(content.Bytes())
	return nil
}

func (s *Server) handleEvents(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.serveEvents(w, r, t.stream)
}

func (s *Server) handleReport(w http.ResponseWriter, r *http.Request) error {
	dir, err := s.jobDir(r.PathValue("id"))
	if err != nil {
		return err
	}
	j, err := job.Inspect(dir)
	if err != nil {
		return err
	}
	paper := report.NewJobPaper(report.JobSource{Job: j, Version: s.options.Version, Now: time.Now(), Picture: report.JobPictureIn(dir), Language: s.language(r)})
	var content bytes.Buffer
	if strings.HasSuffix(r.URL.Path, ".html") {
		// The report carries its style and pictures with it, and no script.
		w.Header().Set("Content-Security-Policy", "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox allow-modals")
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		err = paper.HTML(&content)
	} else {
		size, e := paperOf(r)
		if e != nil {
			return e
		}
		w.Header().Set("Content-Type", "application/pdf")
		err = paper.PDF(&content, size)
	}
	if err != nil {
		return err
	}
	answerSoon(w)
	_, _ = w.Write(content.Bytes())
	return nil
}

func (s *Server) handleExport(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	dir, err := s.jobDir(id)
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp(s.options.Store, ".export-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	archive := filepath.Join(folder, "job.zip")
	if _, err := job.Export(dir, archive); err != nil {
		return err
	}
	f, err := os.Open(archive)
	if err != nil {
		return err
	}
	defer f.Close()
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(10 * answerTime)) // all photos over a slow line
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", strings.Map(ascii, id)+".zip"))
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

func ascii(r rune) rune {
	if r < ' ' || r > '~' || r == '"' || r == '\\' {
		return '_'
	}
	return r
}
