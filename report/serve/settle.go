package serve

import (
	"cmp"
	"net/http"
	"slices"

	"rimpair/report"
	"rimpair/report/job"
)

// handleSettle takes the photos and what was measured from them into the record as one
// stage, and what was not measured with it as an entry of its own.
func (s *Server) handleSettle(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	var told struct {
		Stage job.Stage `json:"stage"`
		Note  string    `json:"note"` // on the photos that were not measured
	}
	if err := readJSON(w, r, &told); err != nil {
		return err
	}
	if len(told.Note) > longestText {
		return badRequest("The note is too long.")
	}
	number, stage, err := t.settle(told.Stage, cmp.Or(told.Note, "not used for measuring this stage"))
	if err != nil {
		return err
	}
	answerSoon(w)
	answer(w, http.StatusOK, map[string]any{"stage": stage, "number": number})
	return nil
}

func (t *shoot) settle(stage job.Stage, note string) (number int, _ job.Stage, err error) {
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
	latest, shots := t.latest, t.shots
	t.mu.Unlock()
	addition, err := t.addition(latest, stage)
	if err != nil {
		return 0, "", err
	}
	unused := t.unused(latest, shots, note)
	err = job.Update(t.dir, func(d *job.Draft) error {
		if err := addition.To(d); err != nil {
			return err
		}
		number = len(d.Entries)
		if len(unused.Photos) == 0 {
			return nil
		}
		return unused.To(d)
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

// addition is the stage as it is recorded.
func (t *shoot) addition(m *measurement, stage job.Stage) (*report.JobAddition, error) {
	switch {
	case m == nil:
		return nil, conflict("not_measured", "Nothing was measured yet.", "Take photos first.")
	case m.found == nil && m.refusal != nil:
		return nil, conflict("not_measured", m.refusal.Reason, m.refusal.Remedy)
	}
	a := &report.JobAddition{Entry: job.Entry{At: now()}}
	pixels := 0
	for _, p := range m.shots {
		a.Photos = append(a.Photos, t.spool.path(p))
		pixels = max(pixels, p.Judged.Pixels)
	}
	release, err := t.server.holdPixels(pixels)
	if err != nil {
		return nil, busy("The server closes.")
	}
	defer release()
	positions := m.positions(t.spool)
	if len(positions) == 1 {
		return a, a.Measured(m.found, m.inputs, stage, positions[0].Valves)
	}
	err = a.Measured(m.found, m.inputs, stage, "")
	for _, p := range m.shots {
		a.Entry.Measurement.Positions = append(a.Entry.Measurement.Positions, p.Position)
	}
	return a, err
}

// unused are the photos that were not measured with the stage, which are kept as they
// came like the others.
func (t *shoot) unused(m *measurement, shots []*shot, note string) *report.JobAddition {
	a := &report.JobAddition{Entry: job.Entry{At: now(), Note: note}}
	for _, p := range shots {
		if !slices.Contains(m.shots, p) {
			a.Photos = append(a.Photos, t.spool.path(p))
		}
	}
	return a
}
