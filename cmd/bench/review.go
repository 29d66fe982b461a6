package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/review"
	"rimpair/samples"
	"rimpair/vision"
)

// This file throws photos of many vehicles into one folder and reviews them unattended.

// thrown is a photo in that folder: what it shows.
type thrown struct {
	set   string
	truth *samples.StateTruth
}

// reviewTable reviews all photos given, or copies of them as many as are asked for, each
// copy of a set with a phone of its own.
func (b *bench) reviewTable() error {
	heap, known, err := b.throw(distinguish)
	if err != nil {
		return err
	}
	return b.reviewHeap(heap, known)
}

// groupingTable only judges and groups them, with less and less that tells them apart.
func (b *bench) groupingTable() error {
	for _, c := range []struct {
		words string
		alter func(head []byte, copy int)
	}{
		{"a phone for each set", distinguish},
		{"one phone model for all", func(head []byte, _ int) { sameModel(head) }},
		{"one phone model for all, and no times", func(head []byte, _ int) { sameModel(head); noTime(head) }},
	} {
		heap, known, err := b.throw(c.alter)
		if err != nil {
			return err
		}
		begun := time.Now()
		groups, _, err := review.Run(context.Background(), filesIn(heap, known), review.Options{
			Limits: vision.DefaultLimits(), AtOnce: runtime.NumCPU(), Hold: review.HoldAtMost(100e6), Measure: neverMeasured,
		})
		if err != nil {
			return err
		}
		b.printf("%s (%.0f s)\n", c.words, time.Since(begun).Seconds())
		var names [][]string
		for _, g := range groups {
			names = append(names, namesOf(g.Photos))
		}
		b.groupsTable(names, known)
	}
	return nil
}

// neverMeasured is for grouping alone.
func neverMeasured([]measure.State) (*measure.Measurement, error) {
	return nil, &vision.Refusal{Code: "not_settled"}
}

func namesOf(photos []review.Photo) (names []string) {
	for _, p := range photos {
		names = append(names, p.Name)
	}
	return names
}

func filesIn(heap string, known map[string]thrown) (files []review.File) {
	for _, name := range slices.Sorted(maps.Keys(known)) {
		files = append(files, review.File{Path: filepath.Join(heap, name), Name: name})
	}
	return files
}

// throw copies the photos of all sets into one folder, again and again until there are
// so many, each altered in its first bytes, which hold its EXIF data.
func (b *bench) throw(alter func(head []byte, copy int)) (heap string, known map[string]thrown, err error) {
	dir := photoFolder()
	b.title("Photos of %s thrown into one folder", dir)
	truths, err := filepath.Glob(filepath.Join(dir, "*", "truth.json"))
	if err != nil || len(truths) == 0 {
		return "", nil, errors.Join(err, fmt.Errorf("no sets of photos in %s", dir))
	}
	if heap, err = os.MkdirTemp(b.dir, "heap"); err != nil {
		return "", nil, err
	}
	known = map[string]thrown{}
	for n := 0; n == 0 || len(known) < b.heap; n++ {
		for _, file := range truths {
			raw, err := os.ReadFile(file)
			if err != nil {
				return "", nil, err
			}
			var truth samples.Truth
			if err := json.Unmarshal(raw, &truth); err != nil {
				return "", nil, fmt.Errorf("%s: %w", file, err)
			}
			set := fmt.Sprintf("%s-copy%d", filepath.Base(filepath.Dir(file)), n)
			for _, p := range truth.Photos {
				content, err := os.ReadFile(filepath.Join(filepath.Dir(file), p.File))
				if err != nil {
					return "", nil, err
				}
				name := set + "-" + p.File
				alter(content[:min(len(content), 1<<12)], n)
				if err := os.WriteFile(filepath.Join(heap, name), content, 0o644); err != nil {
					return "", nil, err
				}
				known[name] = thrown{set, p.State}
			}
		}
	}
	return heap, known, nil
}

// The test photos' model is "Phone " and a number. An altered one is as long.
func alterModel(head []byte, alter func(digits []byte)) {
	const word = "Phone "
	for at := 0; ; {
		i := bytes.Index(head[at:], []byte(word))
		if i < 0 {
			return
		}
		at += i + len(word)
		end := at
		for end < len(head) && '0' <= head[end] && head[end] <= '9' {
			end++
		}
		alter(head[at:end])
	}
}

// distinguish gives each copy of a set a phone of its own.
func distinguish(head []byte, copy int) {
	if copy > 0 {
		alterModel(head, func(digits []byte) { digits[0] = 'A' + digits[0] - '0' + byte(10*(copy-1)) })
	}
}

func sameModel(head []byte) {
	alterModel(head, func(digits []byte) { copy(digits, strings.Repeat("0", len(digits))) })
}

func noTime(head []byte) {
	day := []byte("2026:06:14 ") // all test photos'
	for i := bytes.Index(head, day); i >= 0; i = bytes.Index(head, day) {
		copy(head[i:], "0000:00:00 ")
	}
}

// reviewHeap runs the program on a folder.
func (b *bench) reviewHeap(heap string, known map[string]thrown) error {
	command := exec.Command(b.rimpair, "review", heap, "--json", "--camera", "none")
	begun := time.Now()
	out, err := command.Output()
	wall := time.Since(begun)
	if err != nil {
		return err
	}
	var found struct {
		Groups []report.ReviewGroup
		Loose  []report.ReviewPhoto
	}
	if err := json.Unmarshal(out, &found); err != nil {
		return err
	}
	var names [][]string
	judging := 0.0
	var total, rims, states, mixed int
	for _, g := range found.Groups {
		var list []string
		for _, p := range g.Photos {
			list = append(list, p.Name)
			judging += p.Judgement.Seconds
		}
		names = append(names, list)
		for _, s := range g.States {
			truth, one := oneTruth(s.Photos, known)
			if !one {
				mixed++
				b.printf("mixed: %v\n", s.Photos)
				continue
			}
			states++
			if covers(s.Toe, truth.TotalToeMm) {
				total++
			} else {
				b.printf("not inside: %v %.2f to %.2f, true %.2f\n", s.Photos, s.Toe.Low95, s.Toe.High95, truth.TotalToeMm)
			}
			if covers(s.Result.RimTotalToeMm, truth.RimTotalToeMm) {
				rims++
			}
		}
	}
	used := command.ProcessState.SysUsage().(*syscall.Rusage)
	cpu := command.ProcessState.UserTime() + command.ProcessState.SystemTime()
	const kibPerMib = 1024 // Linux gives the peak in KiB
	n := float64(len(known))
	b.printf("%d photos: %.0f s, %.1f s a photo; CPU %.1f s a photo; judging %.2f s a photo; peak %.0f MiB\n",
		len(known), wall.Seconds(), wall.Seconds()/n, cpu.Seconds()/n, judging/n, float64(used.Maxrss)/kibPerMib)
	b.groupsTable(names, known)
	b.printf("numbers: %d of one state, total inside 95 %%: %s, rims inside: %s; of mixed states: %d; cannot be read: %d\n",
		states, percent(total, states), percent(rims, states), mixed, len(found.Loose))
	for _, g := range found.Groups {
		if g.Refused != nil {
			b.printf("refused %s: %s\n", g.Refused.Code, strings.Join(namesIn(g), " "))
		}
	}
	return nil
}

func namesIn(g report.ReviewGroup) (names []string) {
	for _, p := range g.Photos {
		names = append(names, p.Name)
	}
	return names
}

// oneTruth is the state that all of some photos show, if they show one.
func oneTruth(names []string, known map[string]thrown) (truth samples.StateTruth, one bool) {
	first := known[names[0]]
	for _, name := range names {
		k := known[name]
		if k.truth == nil || k.set != first.set || k.truth.RimTotalToeMm != first.truth.RimTotalToeMm {
			return truth, false
		}
	}
	return *first.truth, true
}

// groupsTable counts how groups and sets fit.
func (b *bench) groupsTable(groups [][]string, known map[string]thrown) {
	size := map[string]int{}
	for _, k := range known {
		size[k.set]++
	}
	exact, parts, several := 0, 0, 0
	for _, names := range groups {
		sets := map[string]int{}
		for _, name := range names {
			sets[known[name].set]++
		}
		switch first := cmp.Or(slices.Collect(maps.Keys(sets))...); {
		case len(sets) > 1:
			several++
			b.printf("together: %v\n", slices.Sorted(maps.Keys(sets)))
		case sets[first] == size[first]:
			exact++
		default:
			parts++
		}
	}
	b.printf("sets: %d; groups: %d, of exactly one set: %d, of a part of one: %d, of several: %d\n", len(size), len(groups), exact, parts, several)
}
