package serve

import (
	"maps"
	"net/http"
	"slices"

	"rimpair/report"
	"rimpair/report/job"
)

// handleSettle takes the photos and what was measured from them into the record,
// one entry for each position of the wheels, all in one change of the record. Photos
// that were judged not worth measuring go: they are of this state, and would be
// taken for the next one.
func (s *Server) handleSettle(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	var told struct {
		Stage job.Stage `json:"stage"`
	}
	if err := readJSON(w, r, &told); err != nil {
		return err
	}
	number, stage, err := t.settle(told.Stage)
	if err != nil {
		return err
	}
	answerSoon(w)
	answer(w, http.StatusOK, map[string]any{"stage": stage, "number": number})
	return nil
}

func (t *shoot) settle(stage job.Stage) (number int, _ job.Stage, err error) {
	t.settling.Lock()
	defer t.settling.Unlock()
	if t.pending() {
		return 0, "", conflict("still_measuring", "Photos are still being judged or measured.", "Wait until the result is there.")
	}
	j, _, err := job.Read(t.dir)
	if err != nil {
		return 0, "", err
	}
	if stage == "" {
		stage = j.Next().Stage
	}
	if !slices.Contains(job.Stages(), stage) {
		return 0, "", badRequest("There is no stage %q.", stage)
	}
	t.mu.Lock()
	sets, shots := maps.Clone(t.sets), t.shots
	t.mu.Unlock()
	additions, err := t.additions(sets, stage)
	if err != nil {
		return 0, "", err
	}
	err = job.Update(t.dir, func(d *job.Draft) error {
		for _, a := range additions {
			if err := a.To(d); err != nil {
				return err
			}
		}
		number = len(d.Entries)
		return nil
	})
	if err != nil {
		return 0, "", err
	}
	var keys []string
	for _, p := range shots {
		keys = append(keys, p.Key)
	}
	return number, stage, t.drop(keys...)
}

// additions are the entries of the sets.
func (t *shoot) additions(sets map[string]*set, stage job.Stage) ([]*report.JobAddition, error) {
	if len(sets) == 0 {
		return nil, conflict("not_measured", "Nothing was measured yet.", "Take photos first.")
	}
	var list []*report.JobAddition
	for _, position := range slices.Sorted(maps.Keys(sets)) {
		one := sets[position]
		if one.measurement == nil {
			reason, remedy := "The photos were not measured.", "Take them again."
			if one.refusal != nil {
				reason, remedy = one.refusal.Reason, one.refusal.Remedy
			}
			return nil, conflict("not_measured", reason, remedy)
		}
		a := &report.JobAddition{Entry: job.Entry{At: now()}}
		pixels := 0
		for _, p := range one.shots {
			a.Photos = append(a.Photos, t.spool.path(p))
			pixels = max(pixels, p.Judged.Pixels)
		}
		release, err := t.server.holdPixels(pixels)
		if err != nil {
			return nil, busy("The server closes.")
		}
		err = a.Measured(one.measurement, one.inputs, stage, position)
		release()
		if err != nil {
			return nil, err
		}
		list = append(list, a)
	}
	return list, nil
}
