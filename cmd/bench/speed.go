package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"syscall"
	"time"

	"rimpair/samples"
	"rimpair/vision"
)

// yardstickCommand makes this program do, as a process of its own, only what any
// program for photos with markers has to do: see vision.Yardstick.
const yardstickCommand = "yardstick"

func yardstick(photos []string) error {
	for _, photo := range photos {
		if _, err := vision.Yardstick(photo); err != nil {
			return err
		}
	}
	return nil
}

// cost is what a process took.
type cost struct {
	wall, cpu time.Duration
	peakMiB   float64
}

// timed runs a process and takes its cost; one that ends with a code of its own
// choice counts as well.
func timed(name string, args ...string) (cost, error) {
	command := exec.Command(name, args...)
	start := time.Now()
	err := command.Run()
	c := cost{wall: time.Since(start)}
	if command.ProcessState == nil || !command.ProcessState.Exited() {
		return c, fmt.Errorf("%s: %w", name, err)
	}
	c.cpu = command.ProcessState.UserTime() + command.ProcessState.SystemTime()
	// Linux gives the peak in KiB.
	c.peakMiB = float64(command.ProcessState.SysUsage().(*syscall.Rusage).Maxrss) / 1024
	return c, nil
}

const (
	speedRuns  = 3
	speedLimit = 3.0 // times the yardstick
	peakLimit  = 500 // MiB
)

// speedTable compares the whole program with the yardstick in turn, on three photos
// of 12 megapixels, and keeps the best of each.
func (b *bench) speedTable() error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	b.title("Time and memory: three photos of 12 megapixels")
	shoots, err := b.twelveMegapixels()
	if err != nil {
		return err
	}
	b.printf("%-15s %-22s %12s %12s %7s %9s\n", "set", "", "wall s", "processor s", "", "peak MiB")
	for _, s := range shoots {
		if err := b.speed(self, s); err != nil {
			return err
		}
	}
	b.printf("[limits: wall %g times the yardstick, peak %d MiB; best of %d runs each, in turn]\n", speedLimit, peakLimit, speedRuns)
	return nil
}

func (b *bench) speed(self string, s shoot) error {
	runs := []struct {
		what string
		name string
		args []string
		best cost
	}{
		{"decode and find markers", self, append([]string{yardstickCommand}, s.photos...), cost{}},
		{"rimpair measure", b.rimpair, append([]string{"measure", "--rim", fmt.Sprint(s.truth.Wheels.L.BeadSeatMm)}, s.photos...), cost{}},
	}
	for i := range speedRuns {
		for k := range runs {
			c, err := timed(runs[k].name, runs[k].args...)
			if err != nil {
				return err
			}
			best := &runs[k].best
			if i == 0 {
				*best = c
			}
			best.wall, best.cpu, best.peakMiB = min(best.wall, c.wall), min(best.cpu, c.cpu), max(best.peakMiB, c.peakMiB)
		}
	}
	for _, r := range runs {
		b.printf("%-15s %-22s %12.2f %12.2f %7s %9.0f\n", s.set, r.what, r.best.wall.Seconds(), r.best.cpu.Seconds(), "", r.best.peakMiB)
	}
	yard, whole := runs[0].best, runs[1].best
	b.printf("%-15s %-22s %11.2fx %11.2fx\n", s.set, "ratio", whole.wall.Seconds()/yard.wall.Seconds(), whole.cpu.Seconds()/yard.cpu.Seconds())
	return nil
}

// twelveMegapixels are shoots of three photos of about 12 megapixels: of the photos
// given, or one that is drawn.
func (b *bench) twelveMegapixels() ([]shoot, error) {
	shoots, err := readShoots(photoFolder())
	if err != nil {
		return nil, err
	}
	var fit []shoot
	for _, s := range shoots {
		if !s.noSheet() && len(s.photos) == 3 && s.size[0]*s.size[1] >= 11.9e6 {
			fit = append(fit, s)
		}
	}
	if len(fit) > 0 {
		return fit, nil
	}
	dir := filepath.Join(b.dir, "twelve-megapixels")
	scene := samples.NewScene(b.seed, samples.Options{LongSide: 4032})
	if err := scene.Write(dir); err != nil {
		return nil, err
	}
	return split(dir, scene.Truth()), nil
}
