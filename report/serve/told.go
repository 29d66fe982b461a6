package serve

import (
	"net/http"
	"slices"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// This file puts what a page tells into the record of a job.

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

func (s *Server) handleChecks(w http.ResponseWriter, r *http.Request) error {
	var t struct {
		Check  string     `json:"check"`
		Result job.Result `json:"result"`
		Note   string     `json:"note"`
	}
	return s.change(w, r, &t, func(_ *shoot, d *job.Draft) error {
		if _, ok := job.CheckByID(t.Check); !ok || !slices.Contains(job.Results(), t.Result) || len(t.Note) > longestText {
			return badRequest("There is no check %q with the result %q.", t.Check, t.Result)
		}
		d.Append(job.Entry{At: now(), Check: &job.Check{ID: t.Check, Result: t.Result}, Note: t.Note})
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
		advice, err := report.JobAdvice(inspected)
		if err != nil {
			return err
		}
		d.Append(job.Entry{At: now(), Adjustment: &job.Adjustment{Turned: t.Turned, Advice: advice}, Note: t.Note})
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
