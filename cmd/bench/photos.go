package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"rimpair/samples"
)

// shoot is the photos of one vehicle in one state.
type shoot struct {
	set    string
	photos []string
	size   [2]int // of the pictures
	truth  samples.StateTruth
}

// plan is whether the sheets lie as the tool teaches: two on a diagonal.
func (s *shoot) plan() bool { return strings.HasPrefix(s.set, "plan-") }

// noSheet is whether there is nothing to measure with.
func (s *shoot) noSheet() bool { return strings.HasPrefix(s.set, "nosheet-") }

// photoFolder is where sets of photos with their truth lie.
func photoFolder() string {
	if dir := os.Getenv("RIMPAIR_PHOTOS"); dir != "" {
		return dir
	}
	const beside = "../shared/photos"
	if _, err := os.Stat(beside); err == nil {
		return beside
	}
	return "samples/photos"
}

// readShoots reads what the photos in a folder of sets show.
func readShoots(dir string) ([]shoot, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
	if err != nil || len(files) == 0 {
		return nil, errors.Join(err, fmt.Errorf("no sets of photos in %s", dir))
	}
	var shoots []shoot
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		var truth samples.Truth
		if err := json.Unmarshal(raw, &truth); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		shoots = append(shoots, split(filepath.Dir(file), truth)...)
	}
	return shoots, nil
}

// split parts a set's photos by the state that the rims stood in: before and after
// half a turn of the wheels, or a turn of the tie rods. Photos without a vehicle drop
// out.
func split(dir string, truth samples.Truth) []shoot {
	var shoots []shoot
	for _, p := range truth.Photos {
		if p.State == nil || p.State.TrackMm == 0 {
			continue
		}
		i := slices.IndexFunc(shoots, func(s shoot) bool { return s.truth.RimTotalToeMm == p.State.RimTotalToeMm })
		if i < 0 {
			i = len(shoots)
			shoots = append(shoots, shoot{set: filepath.Base(dir), size: p.Size, truth: *p.State})
		}
		shoots[i].photos = append(shoots[i].photos, filepath.Join(dir, p.File))
	}
	return shoots
}

// from picks the first photo from each of the given views: one choice, or none when
// a view is missing.
func (s *shoot) from(views ...string) [][]string {
	var picked []string
	for _, view := range views {
		i := slices.IndexFunc(s.photos, func(p string) bool {
			name := strings.TrimRight(strings.TrimSuffix(filepath.Base(p), filepath.Ext(p)), "0123456789")
			return strings.HasSuffix(name, view)
		})
		if i < 0 {
			return nil
		}
		picked = append(picked, s.photos[i])
	}
	return [][]string{picked}
}

// Limits that the project has set itself.
const (
	planLimits   = "RMS 0.20 mm, worst 0.5 mm, at most 1 in 6 refused or wide, in 95 % 93 to 99 %, found 95 %"
	otherLimits  = "RMS 0.6 mm, in 95 % 93 to 99 %, found 95 %"
	singleLimits = "in 95 % at least 93 %"
)

// choice is a way to choose photos from a shoot and to measure them.
type choice struct {
	title                   string
	withRim                 bool // tell the rim's size
	pick                    func(s *shoot) [][]string
	planLimits, otherLimits string
	every                   int // of drawn scenes, measure one photo in so many, or one set
}

func choices() []choice {
	all := func(s *shoot) [][]string { return [][]string{s.photos} }
	return []choice{
		{"All photos of a set", true, all, planLimits, otherLimits, 1},
		{"Front and rear alone", true, func(s *shoot) [][]string { return s.from("front", "rear") }, planLimits, otherLimits, 1},
		{"Front, rear and above, of sets that have more", true, func(s *shoot) [][]string {
			if len(s.photos) <= 3 {
				return nil
			}
			return s.from("front", "rear", "above")
		}, planLimits, otherLimits, 1},
		{"All photos of a set, the rim's size not told", false, all, planLimits, otherLimits, 4},
		{"Single photos", true, func(s *shoot) [][]string {
			return slices.Collect(slices.Chunk(s.photos, 1))
		}, singleLimits, singleLimits, 3},
	}
}

// photoTables measures the photos given.
func (b *bench) photoTables() error {
	dir := photoFolder()
	shoots, err := readShoots(dir)
	if err != nil {
		return err
	}
	b.title("Photos in %s", dir)
	known := map[string]*trial{}
	for _, c := range choices() {
		var plan, other, bad []*trial
		for i := range shoots {
			s := &shoots[i]
			for _, photos := range c.pick(s) {
				t := s.trial(photos, c.withRim, known)
				switch {
				case s.noSheet():
					bad = append(bad, t)
				case s.plan():
					plan = append(plan, t)
				default:
					other = append(other, t)
				}
			}
		}
		all := slices.Concat(plan, other, bad)
		b.measure(all)
		b.printf("\n%s\n", c.title)
		b.rows(all)
		b.summaryHead()
		b.summary("two sheets on a diagonal", plan)
		b.limits(c.planLimits)
		b.summary("other sets", other)
		b.limits(c.otherLimits)
		b.summary("both", slices.Concat(plan, other))
		b.summary("no sheet, to be refused", bad)
		b.refusals(slices.Concat(plan, other))
		b.numbers(slices.Concat(plan, other))
	}
	return nil
}

// trial is a measurement from some of the photos; each is made once.
func (s *shoot) trial(photos []string, withRim bool, known map[string]*trial) *trial {
	t := &trial{set: s.set, photos: photos, truth: s.truth}
	if withRim {
		t.rimMm = s.truth.Wheels.L.BeadSeatMm
	}
	key := fmt.Sprint(t.rimMm, t.photos)
	if known[key] == nil {
		known[key] = t
	}
	return known[key]
}

// measure makes the trials that were not made yet, two at a time.
func (b *bench) measure(trials []*trial) {
	var group errgroup.Group
	group.SetLimit(2)
	for _, t := range trials {
		if !t.made {
			t.made = true
			group.Go(func() error {
				t.measure(b.rimpair)
				return nil
			})
		}
	}
	_ = group.Wait() // what went wrong is in the outcomes
}
