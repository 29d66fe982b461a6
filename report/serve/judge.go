package serve

import (
	"context"
	"errors"
	"image"
	"log"
	"os"
	"runtime/debug"
	"time"

	"rimpair/measure"
	judging "rimpair/report/review"
	"rimpair/vision"
)

// judged is what a photo is worth, and what drawing it needs.
type judged struct {
	Judgement   judging.Judgement `json:"judgement"`
	Curves      []measure.Curve   `json:"curves"`      // where the wheels seem to be
	Orientation int               `json:"orientation"` // 0: it cannot be shown
	Pixels      int               `json:"pixels"`
}

// judge says what a photo of wheels of this bead seat diameter, 0 where it is not known, is
// worth; nil when the server closes.
func (s *Server) judge(path string, beadSeatMm float64) *judged {
	return s.look(path, func(photo *vision.Photo, begun time.Time) judging.Judgement {
		return s.options.Judge(photo, beadSeatMm, begun)
	})
}

// look reads a photo and judges it by a rule; nil when the server closes. Whatever a file
// does to a decoder, it is the file that is bad.
func (s *Server) look(path string, rule func(photo *vision.Photo, begun time.Time) judging.Judgement) (j *judged) {
	defer func() {
		if p := recover(); p != nil {
			log.Printf("judging a photo failed: %v\n%s", p, debug.Stack())
			j = &judged{Judgement: judging.Refused(errors.New("The photo cannot be read."))}
		}
	}()
	release, err := s.holdPixels(pixelsOf(path))
	if err != nil {
		return nil
	}
	defer release()
	begun := time.Now()
	photo, err := vision.LoadGrey(path, PhotoLimits())
	if err != nil {
		return &judged{Judgement: judging.Refused(err)}
	}
	g, judgement := photo.Gray, rule(photo, begun)
	return &judged{Judgement: judgement, Curves: judgement.Curves, Orientation: photo.Orientation, Pixels: g.Width * g.Height}
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

// holdGrey is holdPixels for pixels without colour, as a review holds them.
func (s *Server) holdGrey(_ context.Context, pixels int64) (release func(), err error) {
	return s.holdPixels(int(pixels * judging.BytesPerPixel / colourBytes))
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
