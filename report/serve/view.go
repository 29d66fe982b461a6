package serve

import (
	"encoding/json"
	"net/http"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// This file is what a page sees of a job.

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
	return s.answerIn(w, r, view)
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
	for _, p := range t.shots {
		v.Photos = append(v.Photos, viewOf(p))
	}
	t.mu.Unlock()
	v.Measured = t.told(l)
	var err error
	v.Advice, err = report.JobAdvice(j, l)
	return v, err
}

func (s *Server) handleEvents(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.serveEvents(w, r, t.stream)
}

// answerIn answers with all that is wrong and what to do in the client's language.
func (s *Server) answerIn(w http.ResponseWriter, r *http.Request, v any) error {
	content, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if content, err = s.language(r).SaidJSON(content); err != nil {
		return err
	}
	answer(w, http.StatusOK, json.RawMessage(content))
	return nil
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
	return report.English()
}
