package serve

import (
	"net/http"
	"slices"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// This file puts what a page tells into the record of a job.

// told is what a page may tell of a job; what it leaves out stays as it is.
type told struct {
	Reference *string      `json:"reference"`
	Customer  *string      `json:"customer"`
	RulerMm   *[2]float64  `json:"ruler_mm"`
	Vehicle   *toldVehicle `json:"vehicle"`
}

type toldVehicle struct {
	Name     *string           `json:"name"`
	RimMm    *float64          `json:"rim_mm"` // 0: not known
	Track    *measure.Known    `json:"track_mm"`
	Base     *measure.Known    `json:"wheelbase_mm"`
	Steering *measure.Steering `json:"steering"`
}

// check says what cannot be.
func (t *told) check() error {
	texts := []*string{t.Reference, t.Customer}
	if v := t.Vehicle; v != nil {
		texts = append(texts, v.Name)
		if v.RimMm != nil && *v.RimMm != 0 && (*v.RimMm < 200 || *v.RimMm > 700) {
			return badRequest("The rim's size is its bead seat diameter in mm, such as 406, not %g.", *v.RimMm)
		}
		if v.Steering != nil {
			if err := checkSteering(v.Steering); err != nil {
				return err
			}
		}
	}
	for _, text := range texts {
		if text != nil && len(*text) > longestText {
			return badRequest("The names are too long.")
		}
	}
	if r := t.RulerMm; r != nil && !(measure.PlausibleRuler(r[0]) && measure.PlausibleRuler(r[1])) {
		return badRequest("The printed 100 mm rulers cannot measure %g and %g mm.", r[0], r[1])
	}
	return nil
}

func checkSteering(v *measure.Steering) error {
	if v.Thread == "" {
		return nil
	}
	if _, err := measure.ParseThread(v.Thread); err != nil {
		return badRequest("The thread cannot be read: %v.", err)
	}
	return nil
}

// apply puts what was told over what is known.
func (t *told) apply(j *job.Job) {
	put(&j.Reference, t.Reference)
	put(&j.Customer, t.Customer)
	put(&j.RulerMm, t.RulerMm)
	if v := t.Vehicle; v != nil {
		put(&j.Vehicle.Name, v.Name)
		put(&j.Vehicle.RimMm, v.RimMm)
		put(&j.Vehicle.Steering, v.Steering)
		if v.Track != nil {
			j.Vehicle.TrackMm = v.Track
		}
		if v.Base != nil {
			j.Vehicle.WheelbaseMm = v.Base
		}
	}
	j.Vehicle.Steering.Record = nil // that is in the job's entries
}

func put[T any](to, told *T) {
	if told != nil {
		*to = *told
	}
}

func (s *Server) handleVehicle(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	var told told
	err = s.change(w, r, &told, func(_ string, d *job.Draft) error {
		if err := told.check(); err != nil {
			return err
		}
		told.apply(d.Job)
		return nil
	})
	if err == nil {
		t.measureSoon()
	}
	return err
}

func (s *Server) handleSteering(w http.ResponseWriter, r *http.Request) error {
	var steering measure.Steering
	return s.change(w, r, &steering, func(_ string, d *job.Draft) error {
		if err := checkSteering(&steering); err != nil {
			return err
		}
		steering.Record = nil // that is in the job's entries
		d.Vehicle.Steering = steering
		return nil
	})
}

func (s *Server) handleChecks(w http.ResponseWriter, r *http.Request) error {
	var t struct {
		Check  string     `json:"check"`
		Result job.Result `json:"result"`
		Note   string     `json:"note"`
	}
	return s.change(w, r, &t, func(_ string, d *job.Draft) error {
		if _, ok := job.CheckByID(t.Check); !ok || !slices.Contains(job.Results(), t.Result) || len(t.Note) > longestText {
			return badRequest("There is no check %q with the result %q.", t.Check, t.Result)
		}
		d.Append(job.Entry{At: now(), Check: &job.Check{ID: t.Check, Result: t.Result}, Note: t.Note})
		return nil
	})
}

func (s *Server) handleTurned(w http.ResponseWriter, r *http.Request) error {
	var t struct {
		Turned []job.Turned `json:"turned"`
		Note   string       `json:"note"`
	}
	return s.change(w, r, &t, func(dir string, d *job.Draft) error {
		known := func(one job.Turned) bool {
			return slices.Contains(job.Rods(), one.Rod) && one.LongerByTurns != 0 && one.LongerByTurns >= -20 && one.LongerByTurns <= 20
		}
		if len(t.Turned) == 0 || len(t.Turned) > len(job.Rods()) || len(t.Note) > longestText || slices.ContainsFunc(t.Turned, func(one job.Turned) bool { return !known(one) }) {
			return badRequest("Say which rod was turned, and by how many turns longer or shorter.")
		}
		inspected, err := job.Inspect(dir)
		if err != nil {
			return err
		}
		advice, err := report.JobAdvice(inspected, report.English())
		if err != nil {
			return err
		}
		d.Append(job.Entry{At: now(), Adjustment: &job.Adjustment{Turned: t.Turned, Advice: advice}, Note: t.Note})
		return nil
	})
}

// change reads a request's body into v and changes the record of the job in dir.
func (s *Server) change(w http.ResponseWriter, r *http.Request, v any, record func(dir string, d *job.Draft) error) error {
	dir, err := s.jobDir(r.PathValue("id"))
	if err != nil {
		return err
	}
	if err := readJSON(w, r, v); err != nil {
		return err
	}
	if err := job.Update(dir, func(d *job.Draft) error { return record(dir, d) }); err != nil {
		return err
	}
	answer(w, http.StatusOK, struct{}{})
	return nil
}
