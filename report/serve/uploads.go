package serve

import (
	"bytes"
	"image"
	"image/jpeg"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/disintegration/imaging"

	"rimpair/measure"
	"rimpair/report"
	judging "rimpair/report/review"
)

// photoView is a photo of the stage being taken, as a page is told.
type photoView struct {
	Key       string             `json:"key"`
	Name      string             `json:"name"`
	View      string             `json:"view"`
	Position  string             `json:"position"`
	Judgement *judging.Judgement `json:"judgement"`
}

func viewOf(p *shot) photoView {
	v := photoView{Key: p.Key, Name: p.Name, View: p.View, Position: p.Position}
	if p.Judged != nil {
		v.Judgement = &p.Judged.Judgement
	}
	return v
}

// shotFrom reads what a request says of the photo in its body.
func shotFrom(r *http.Request) (*shot, error) {
	q := r.URL.Query()
	p := &shot{Key: r.PathValue("key"), Name: q.Get("name"), View: q.Get("view"), Position: q.Get("position"), Arrived: time.Now().UTC()}
	switch {
	case !goodKey.MatchString(p.Key):
		return nil, badRequest("A photo's key has 8 to 64 letters, figures, _ or -.")
	case !goodWord.MatchString(p.View):
		return nil, badRequest("A view is a short word.")
	case p.Position != "" && p.Position != "top" && p.Position != "bottom":
		return nil, badRequest("A position is where the valves stand: top or bottom.")
	case len(p.Name) > longestText || strings.ContainsRune(p.Name, 0):
		return nil, badRequest("The name is too long.")
	}
	p.Modified, _ = time.Parse(time.RFC3339, q.Get("modified")) // most clients know it, none need
	return p, nil
}

// uploading waits for room among the uploads.
func (s *Server) uploading(r *http.Request) (done func(), err error) {
	timeout := time.NewTimer(slotTime)
	defer timeout.Stop()
	select {
	case s.uploads <- struct{}{}:
		return func() { <-s.uploads }, nil
	case <-timeout.C:
		return nil, busy("Too many photos arrive at once.")
	case <-s.closing.Done():
		return nil, busy("The server closes.")
	case <-r.Context().Done():
		return nil, busy("The client went away.")
	}
}

// body is a request's body, of limited size and from a patient line.
func body(w http.ResponseWriter, r *http.Request, limit int64) (*patientBody, error) {
	if r.ContentLength > limit {
		return nil, tooLarge(limit)
	}
	return &patientBody{w: w, body: http.MaxBytesReader(w, r.Body, limit)}, nil
}

// answerSoon gives an answer its own time, after what took long.
func answerSoon(w http.ResponseWriter) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTime))
}

func (s *Server) handleUpload(w http.ResponseWriter, r *http.Request) error {
	p, err := shotFrom(r)
	if err != nil {
		return err
	}
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	done, err := s.uploading(r)
	if err != nil {
		return err
	}
	defer done()
	known, err := t.expect(p.Key)
	if err != nil {
		return err
	}
	if known != nil {
		return s.answerIn(w, r, map[string]photoView{"photo": viewOf(known)})
	}
	content, err := body(w, r, photoBytes)
	if err == nil {
		err = t.spool.put(p, content)
	}
	if err != nil {
		t.arrived(p.Key, nil)
		return err
	}
	t.arrived(p.Key, p)
	answerSoon(w)
	answer(w, http.StatusCreated, map[string]photoView{"photo": viewOf(p)})
	return nil
}

func (s *Server) handleDrop(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	if p := t.find(r.PathValue("key")); p != nil { // gone is gone: a repeat is no mistake
		if err := t.drop(p.Key); err != nil {
			return err
		}
	}
	answer(w, http.StatusOK, struct{}{})
	return nil
}

func (s *Server) handlePicture(w http.ResponseWriter, r *http.Request) error {
	t, err := s.shootOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	p := t.find(r.PathValue("key"))
	if p == nil {
		return notFound("photo")
	}
	var marks *measure.Overlay
	if r.URL.Query().Get("marks") == "1" {
		if marks = t.overlay(p.Key); marks == nil && p.Judged != nil {
			marks = &measure.Overlay{Curves: p.Judged.Curves}
		}
	}
	return s.answerPicture(w, r, t.spool.path(p), p.Judged, marks)
}

// answerPicture answers with a small picture of a photo that was judged.
func (s *Server) answerPicture(w http.ResponseWriter, r *http.Request, path string, j *judged, marks *measure.Overlay) error {
	width, err := strconv.Atoi(r.URL.Query().Get("width"))
	if err != nil || width < 1 || width > widestPicture {
		width = 480
	}
	if j == nil || j.Orientation == 0 {
		return notFound("picture")
	}
	release, err := s.holdPixels(j.Pixels)
	if err != nil {
		return busy("The server closes.")
	}
	small, err := smallPicture(path, j.Orientation, width, marks, s.language(r))
	release()
	if os.IsNotExist(err) {
		return notFound("picture") // taken away meanwhile
	}
	if err != nil {
		return err
	}
	var content bytes.Buffer
	if err := jpeg.Encode(&content, small, &jpeg.Options{Quality: 80}); err != nil {
		return err
	}
	answerSoon(w)
	w.Header().Set("Content-Type", "image/jpeg")
	_, _ = w.Write(content.Bytes())
	return nil
}

// smallWidth of a picture is that up to which single edge points do not show.
const smallWidth = 640

func smallPicture(path string, orientation, width int, marks *measure.Overlay, l *report.Language) (image.Image, error) {
	picture, err := report.OpenPicture(path, orientation)
	if err != nil {
		return nil, err
	}
	if marks != nil && width <= smallWidth {
		report.DrawOutlines(picture, marks.Curves, l)
	} else if marks != nil {
		report.DrawPhoto(picture, *marks)
	}
	if picture.Upright.Rect.Dx() <= width {
		return picture.Upright, nil
	}
	return imaging.Resize(picture.Upright, width, 0, imaging.Box), nil
}
