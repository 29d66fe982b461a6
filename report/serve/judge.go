package serve

import (
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"log"
	"os"
	"runtime/debug"
	"time"

	"rimpair/vision"
)

// judged is what a photo is worth, and what drawing it needs.
type judged struct {
	Verdict     string          `json:"verdict"` // good, usable, repeat
	Judgement   json.RawMessage `json:"judgement"`
	Orientation int             `json:"orientation"` // 0: it cannot be shown
	Pixels      int             `json:"pixels"`
}

// finding is one thing that is wrong with a photo.
type finding struct {
	Code   string `json:"code"`
	Text   string `json:"text"`
	Remedy string `json:"remedy"`
}

// Repeat is the verdict on a photo that is not worth measuring.
const Repeat = "repeat"

// judge says what a photo is worth, nil when the server closes. Whatever a file does to a decoder, it is the
// file that is bad.
func (s *Server) judge(path string) (j *judged) {
	defer func() {
		if p := recover(); p != nil {
			log.Printf("judging a photo failed: %v\n%s", p, debug.Stack())
			j = bad(&vision.Refusal{Code: "unreadable", Reason: "The photo cannot be read.", Remedy: "Take it again."})
		}
	}()
	release, err := s.holdPixels(pixelsOf(path))
	if err != nil {
		return nil
	}
	defer release()
	begun := time.Now()
	photo, err := vision.Load(path, photoLimits())
	if err != nil {
		return bad(err)
	}
	g := photo.Gray
	verdict, judgement := s.options.Judge(photo, begun)
	content, err := json.Marshal(judgement)
	if err != nil {
		return bad(err)
	}
	return &judged{Verdict: verdict, Judgement: content, Orientation: photo.Orientation, Pixels: g.Width * g.Height}
}

// bad is the judgement of a photo that cannot be read.
func bad(err error) *judged {
	f := finding{Code: "unreadable", Text: err.Error()}
	var refusal *vision.Refusal
	if errors.As(err, &refusal) {
		f = finding{refusal.Code, refusal.Reason, refusal.Remedy}
	}
	content, err := json.Marshal(struct {
		Verdict  string    `json:"verdict"`
		Findings []finding `json:"findings"`
		Sheets   []int     `json:"sheets"`
		Wheels   struct {
			Left  bool `json:"left"`
			Right bool `json:"right"`
		} `json:"wheels"`
	}{Verdict: Repeat, Findings: []finding{f}, Sheets: []int{}})
	if err != nil {
		panic(fmt.Sprint("plain words: ", err))
	}
	return &judged{Verdict: Repeat, Judgement: content}
}

// holdPixels waits until the pixels of a photo may be held, and returns what gives
// them back.
func (s *Server) holdPixels(pixels int) (release func(), err error) {
	weight := int64(1)
	if pixels > largePixels {
		weight = heavyAtOnce
	}
	if err := s.heavy.Acquire(s.closing, weight); err != nil {
		return nil, err
	}
	return func() { s.heavy.Release(weight) }, nil
}

// pixelsOf is what a file says of its size; one that does not say it plainly counts
// as large.
func pixelsOf(path string) int {
	f, err := os.Open(path)
	if err != nil {
		return 0 // there is nothing to hold
	}
	defer f.Close()
	c, _, err := image.DecodeConfig(f)
	if err != nil {
		return largePixels + 1
	}
	return c.Width * c.Height
}
