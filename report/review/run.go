package review

import (
	"cmp"
	"context"
	"errors"
	"log"
	"math"
	"runtime/debug"
	"slices"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"

	"rimpair/measure"
	"rimpair/vision"
)

// This file leads from files to measured groups: files → photos, each with its judgement
// → groups → measurements, as many at once as processors and memory allow.

// Steps of a review, for who watches.
const (
	Judging   = "judge"
	Measuring = "measure"
)

// Options are how to review.
type Options struct {
	Limits vision.Limits // of one photo
	AtOnce int           // how many photos or groups are worked on at a time
	Hold   Hold
	// Measure measures one state, or several positions of the wheels.
	Measure func([]measure.State) (*measure.Measurement, error)
	// Progress, unless nil, is told of each step from any goroutine.
	Progress func(step string, done, of int)
}

// BytesPerPixel is about what a photo takes of memory while it is judged or measured.
const BytesPerPixel = 5

// Hold waits until so many pixels may be held, and returns what gives them back.
type Hold func(ctx context.Context, pixels int64) (release func(), err error)

// HoldAtMost holds so many pixels at a time. A photo or group that has more is worked on
// alone.
func HoldAtMost(most int64) Hold {
	held := semaphore.NewWeighted(most)
	return func(ctx context.Context, pixels int64) (func(), error) {
		pixels = min(pixels, most)
		return func() { held.Release(pixels) }, held.Acquire(ctx, pixels)
	}
}

// Run reviews photos. Whatever is wrong with a photo is said in its place and stops
// nothing; the error is ctx's, or one of Measure's that is no *vision.Refusal.
func Run(ctx context.Context, files []File, o Options) (groups []Measured, loose []Photo, err error) {
	w := worker{o}
	photos := make([]Photo, len(files))
	if err := w.each(ctx, Judging, len(files), func(i int) error {
		defer choked(&photos[i], files[i])
		pixels, err := vision.Pixels(files[i].Path, o.Limits)
		if err != nil {
			photos[i] = Photo{File: files[i], Judgement: Refused(err)}
			return nil
		}
		return w.hold(ctx, pixels, func() { photos[i] = look(files[i], o.Limits) })
	}); err != nil {
		return nil, nil, err
	}
	parts, loose := group(photos)
	groups = make([]Measured, len(parts))
	err = w.each(ctx, Measuring, len(parts), func(i int) (failure error) {
		groups[i] = settle(parts[i], func(photos []Photo) (r *measure.Result, refusal *vision.Refusal) {
			held := w.hold(ctx, pixels(photos), func() {
				var err error
				if r, err = w.measure(photos); err != nil && !errors.As(err, &refusal) {
					failure = err
				}
			})
			if failure = cmp.Or(failure, held); failure != nil {
				refusal = &vision.Refusal{} // there is no answer, and the review ends
			}
			return r, refusal
		})
		return failure
	})
	if err != nil {
		return nil, nil, err
	}
	return groups, loose, nil
}

// worker is a review under way.
type worker struct{ Options }

// each does n things and says how far it is. It returns when ctx is done, and leaves to
// itself what cannot be interrupted.
func (w *worker) each(ctx context.Context, step string, n int, do func(i int) error) error {
	tell := func(done int) {
		if w.Progress != nil {
			w.Progress(step, done, n)
		}
	}
	tell(0)
	var done atomic.Int64
	all := make(chan error, 1)
	go func() {
		var group errgroup.Group
		group.SetLimit(w.AtOnce)
		for i := range n {
			group.Go(func() error {
				if err := ctx.Err(); err != nil {
					return err
				}
				err := do(i)
				tell(int(done.Add(1)))
				return err
			})
		}
		all <- group.Wait()
	}()
	select {
	case err := <-all:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// hold works while so many pixels may be held.
func (w *worker) hold(ctx context.Context, pixels int64, work func()) error {
	release, err := w.Hold(ctx, pixels)
	if err != nil {
		return err
	}
	defer release()
	work()
	return nil
}

// measure reads the photos again and measures them, whatever they do to the measuring.
func (w *worker) measure(photos []Photo) (r *measure.Result, err error) {
	defer func() {
		if failure := recover(); failure != nil {
			log.Printf("measuring %v failed: %v\n%s", names(photos), failure, debug.Stack())
			r, err = nil, &vision.Refusal{Code: "unreadable", Reason: "Measuring these photos failed.", Remedy: "Measure them one by one to see which fails."}
		}
	}()
	positions := byPosition(photos)
	photos = slices.Concat(positions...)
	states := make([]measure.State, len(positions))
	for i, position := range positions {
		word := position[0].position
		states[i] = measure.State{Name: word, TurnRad: 2 * math.Pi * hours[word] / 12}
		for _, p := range position {
			photo, err := vision.Load(p.Path, w.Limits)
			if refusal := new(vision.Refusal); errors.As(err, &refusal) {
				refusal.Photo = p.Name
			}
			if err != nil {
				return nil, err
			}
			photo.Path = p.Name
			states[i].Inputs = append(states[i].Inputs, measure.Input{Photo: photo, Corners: p.corners})
		}
	}
	m, err := w.Measure(states)
	if err != nil {
		return nil, err
	}
	for i := range m.Result.Photos {
		m.Result.Photos[i].File = photos[i].Name
	}
	return &m.Result, nil
}
