package serve

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// This file finds jobs in the store, lists them, and makes new ones.

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
