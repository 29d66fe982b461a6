package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"time"

	"rimpair/samples"
	"rimpair/vision/yardstick"
)

// The first two make this program do, as a process of its own, only what any program
// for photos with markers has to do: see package yardstick. The second one does it a
// second time and prints what that took, with OpenCV loaded and warm. The third runs
// another program and prints what that took.
const (
	yardstickCommand     = "yardstick"
	warmYardstickCommand = "warm-yardstick"
	costCommand          = "cost"
)

func runYardstick(photos []string) error {
	for _, photo := range photos {
		if _, err := yardstick.Markers(photo); err != nil {
			return err
		}
	}
	return nil
}

func runWarmYardstick(photos []string) error {
	if err := runYardstick(photos); err != nil {
		return err
	}
	start, cpu := time.Now(), processorTime()
	if err := runYardstick(photos); err != nil {
		return err
	}
	const noPeak = 0 // that of the first time
	_, err := fmt.Println(time.Since(start).Seconds(), (processorTime() - cpu).Seconds(), noPeak)
	return err
}

// processorTime is what this process has used so far.
func processorTime() time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		panic(err) // only a wrong argument fails
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// cost is what a process took.
type cost struct {
	wall, cpu time.Duration
	peakMiB   float64
}

// best keeps the least times and the greatest peak of two runs; no run has no time.
func (c cost) best(other cost) cost {
	if c.wall == 0 {
		return other
	}
	return cost{min(c.wall, other.wall), min(c.cpu, other.cpu), max(c.peakMiB, other.peakMiB)}
}

// timed runs a program and takes its cost, from a process of its own: Linux counts
// to a new process's peak what the one that started it held, drawn pictures here.
func timed(name string, args ...string) (cost, error) {
	self, err := os.Executable()
	if err != nil {
		return cost{}, err
	}
	output, err := exec.Command(self, append([]string{costCommand, name}, args...)...).Output()
	if err != nil {
		return cost{}, fmt.Errorf("%s: %w", name, err)
	}
	return scanCost(string(output))
}

// printCost runs a program and prints its wall time and processor time in seconds and
// its peak in MiB; one that ends with a code of its own choice counts as well.
func printCost(args []string) error {
	command := exec.Command(args[0], args[1:]...)
	start := time.Now()
	err := command.Run()
	wall := time.Since(start)
	state := command.ProcessState
	if state == nil || !state.Exited() {
		return err
	}
	cpu := state.UserTime() + state.SystemTime()
	const kibPerMib = 1024 // Linux gives the peak in KiB
	_, err = fmt.Println(wall.Seconds(), cpu.Seconds(), float64(state.SysUsage().(*syscall.Rusage).Maxrss)/kibPerMib)
	return err
}

// scanCost reads what printCost and runWarmYardstick print.
func scanCost(line string) (cost, error) {
	var wall, cpu, peak float64
	if _, err := fmt.Sscan(line, &wall, &cpu, &peak); err != nil {
		return cost{}, err
	}
	return cost{wall: seconds(wall), cpu: seconds(cpu), peakMiB: peak}, nil
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
	b.printf("%-15s %-38s %14s %18s %9s\n", "set", "", "wall s", "processor s", "peak MiB")
	for _, s := range shoots {
		if err := b.speed(self, s); err != nil {
			return err
		}
	}
	b.printf("In brackets: how many times as long rimpair takes. Best of %d runs each, in turn.\n", speedRuns)
	b.limits(fmt.Sprintf("%g times the yardstick, peak %d MiB", speedLimit, peakLimit))
	return nil
}

func (b *bench) speed(self string, s shoot) error {
	measure := append([]string{"measure", "--camera", "none", "--rim", fmt.Sprint(s.truth.Wheels.L.BeadSeatMm)}, s.photos...)
	var warm, cold, whole cost
	for range speedRuns {
		w, err := warmCost(self, s.photos)
		if err != nil {
			return err
		}
		c, err := timed(self, append([]string{yardstickCommand}, s.photos...)...)
		if err != nil {
			return err
		}
		m, err := timed(b.rimpair, measure...)
		if err != nil {
			return err
		}
		warm, cold, whole = warm.best(w), cold.best(c), whole.best(m)
	}
	row := func(what string, c cost) {
		peak := "-"
		if c.peakMiB > 0 {
			peak = fmt.Sprintf("%.0f", c.peakMiB)
		}
		b.printf("%-15s %-38s %6.2f (%.2fx) %10.2f (%.2fx) %9s\n", s.set, what, c.wall.Seconds(), whole.wall.Seconds()/c.wall.Seconds(),
			c.cpu.Seconds(), whole.cpu.Seconds()/c.cpu.Seconds(), peak)
	}
	row("rimpair measure", whole)
	row("decode, find markers: whole process", cold)
	row("decode, find markers: the calls, warm", warm)
	return nil
}

// warmCost is that of the yardstick in a process that has done it before.
func warmCost(self string, photos []string) (cost, error) {
	output, err := exec.Command(self, append([]string{warmYardstickCommand}, photos...)...).Output()
	if err != nil {
		return cost{}, err
	}
	return scanCost(string(output))
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// twelveMegapixels are shoots of three photos of about 12 megapixels: of the photos
// given, or drawn.
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
	for i := range uint64(drawnSets) {
		dir := filepath.Join(b.dir, fmt.Sprint("twelve-megapixels-", i))
		scene := samples.NewScene(b.seed+i, samples.Options{LongSide: 4032, Guards: samples.NoGuards})
		if err := scene.Write(dir); err != nil {
			return nil, err
		}
		fit = append(fit, split(dir, scene.Truth())...)
	}
	return fit, nil
}

// drawnSets are enough for one that is not refused.
const drawnSets = 3
