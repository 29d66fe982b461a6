package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"

	"golang.org/x/sync/errgroup"

	"rimpair/samples"
)

// guardEvery is how many scenes there are to one with mudguards.
const guardEvery = 6

// sceneTables draws vehicles on the standard plan (two sheets on a diagonal) from
// fresh seeds and measures them as it does the photos given.
func (b *bench) sceneTables() error {
	b.title("%d drawn scenes from seed %d, pictures of %s", b.scenes, b.seed, b.pictureSize())
	if b.long != 0 && b.long < 3264 {
		b.printf("Smaller pictures than a phone's, for time; -long 0 draws a phone's.\n")
	}
	choices := choices()
	trials := make([][][]*trial, b.scenes) // of each scene and choice
	var group errgroup.Group
	group.SetLimit(2)
	for i := range b.scenes {
		group.Go(func() (err error) {
			trials[i], err = b.scene(i, choices)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	for k, c := range choices {
		var bare, guarded []*trial
		for i := range trials {
			if guardsIn(i) {
				guarded = append(guarded, trials[i][k]...)
			} else {
				bare = append(bare, trials[i][k]...)
			}
		}
		if len(bare) == 0 {
			continue
		}
		b.printf("\n%s\n", c.title)
		b.outliers(append(bare, guarded...))
		b.summaryHead()
		b.summary("bare wheels", bare)
		b.summary("mudguards", guarded)
		b.limits(c.planLimits)
		b.refusals(bare)
		b.numbers(bare)
	}
	return nil
}

func (b *bench) pictureSize() string {
	if b.long == 0 {
		return "a phone's size"
	}
	return fmt.Sprintf("%d x %d px", b.long, b.long*3/4)
}

func guardsIn(i int) bool { return i%guardEvery == guardEvery-1 }

// scene draws one scene, measures its photos and throws them away.
func (b *bench) scene(i int, choices []choice) ([][]*trial, error) {
	options := samples.Options{LongSide: b.long}
	if guardsIn(i) {
		options.Guards = samples.WithGuards
	}
	seed := b.seed + uint64(i)
	dir := filepath.Join(b.dir, fmt.Sprint(seed))
	defer os.RemoveAll(dir)
	scene := samples.NewScene(seed, options)
	if err := scene.Write(dir); err != nil {
		return nil, err
	}
	trials := make([][]*trial, len(choices))
	known := map[string]*trial{}
	for _, s := range split(dir, scene.Truth()) {
		for k, c := range choices {
			for j, photos := range c.pick(&s) {
				if (i+j)%c.every != 0 {
					continue
				}
				trials[k] = append(trials[k], s.trial(photos, c.withRim, known))
			}
		}
	}
	for _, t := range known {
		t.measure(b.rimpair)
	}
	return trials, nil
}

// outlierZ is beyond what 1 normal error in 700 does, worstMm the limit for sets.
const outlierZ, worstMm = 3.2, 0.5

// outliers prints the trials whose error is far outside its interval, numbers that should
// not have been given, and those worse than the limit that do not say so, with the seeds to
// draw them again.
func (b *bench) outliers(trials []*trial) {
	var out []*trial
	for _, t := range trials {
		if t.outcome.fault != "" || t.measured() && (t.z() > outlierZ || !t.wide() && math.Abs(t.errorMm()) > worstMm) {
			out = append(out, t)
		}
	}
	if len(out) > 0 {
		b.printf("far off (|z| > %g, or %g mm and not wide), each by its scene's seed:\n", outlierZ, worstMm)
		b.rows(out)
	}
}
