package serve

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"rimpair/calib"
	"rimpair/report"
	"rimpair/report/job"
)

// This file is what a person takes away: the sheets, a job's view from above, its
// report, and all of it as an archive.

func paperOf(r *http.Request) (calib.Paper, error) {
	name := r.URL.Query().Get("paper")
	papers := calib.Papers()
	i := slices.IndexFunc(papers, func(p calib.Paper) bool { return p.Name == name })
	if name == "" {
		i = 0
	}
	if i < 0 {
		return calib.Paper{}, badRequest("There is no paper %q.", name)
	}
	return papers[i], nil
}

func (s *Server) handleSheets(w http.ResponseWriter, r *http.Request) error {
	paper, err := paperOf(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	return calib.WriteSheetsPDF(w, paper, []int{1, 2})
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
