package measure

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// This file knows the threads of rod ends: how far a turn of the rod moves them.
//
// Metric coarse pitches are those of ISO 261, inch threads those of ASME B1.1 with
// a pitch of 25.4 mm by the number of threads per inch; both from memory.

// Thread is a screw thread.
type Thread struct {
	Name       string
	DiameterMm float64 // nominal; 0 where only the pitch is known
	PitchMm    float64
}

const mmPerInch = 25.4

// coarsePitchMm of metric threads by their nominal diameter in mm: ISO 261, from
// memory.
var coarsePitchMm = map[float64]float64{
	3: 0.5, 4: 0.7, 5: 0.8, 6: 1, 7: 1, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2, 16: 2,
}

// perInch are the threads per inch of the fine and the coarse series: ASME B1.1,
// from memory.
var perInch = map[string]map[string]float64{
	"UNF": {"10": 32, "1/4": 28, "5/16": 24, "3/8": 24, "7/16": 20, "1/2": 20},
	"UNC": {"10": 24, "1/4": 20, "5/16": 18, "3/8": 16, "7/16": 14, "1/2": 13},
}

var (
	metricForm = regexp.MustCompile(`^M(\d+(?:\.\d+)?)(?:X(\d+(?:\.\d+)?))?$`)
	inchForm   = regexp.MustCompile(`^#?(\d+(?:/\d+)?)(?:-(\d+))?(UNF|UNC)?$`)
	pitchForm  = regexp.MustCompile(`^(\d*\.?\d+)MM$`)
	countForm  = regexp.MustCompile(`^(\d+)(?:TPI|PERINCH)$`)
)

// ParseThread reads a thread's name (M6, M6x1, 5/16-24 UNF, 3/8 UNF) or its pitch
// (1.25 mm, 24 per inch).
func ParseThread(text string) (Thread, error) {
	name := strings.TrimSpace(text)
	form := strings.NewReplacer(" ", "", "×", "X", "*", "X").Replace(strings.ToUpper(name))
	t := Thread{Name: name}
	ok := false
	if m := metricForm.FindStringSubmatch(form); m != nil {
		t.DiameterMm = number(m[1])
		t.PitchMm, ok = coarsePitchMm[t.DiameterMm]
		if m[2] != "" {
			t.PitchMm, ok = number(m[2]), true
		}
	} else if m := inchForm.FindStringSubmatch(form); m != nil {
		t.DiameterMm = inchDiameterMm(m[1])
		t.PitchMm, ok = inchPitchMm(m[1], m[2], m[3])
	} else if m := pitchForm.FindStringSubmatch(form); m != nil {
		t.PitchMm, ok = number(m[1]), true
	} else if m := countForm.FindStringSubmatch(form); m != nil {
		t.PitchMm, ok = mmPerInch/number(m[1]), true
	}
	// Rod ends have threads of 3 mm and more, with at least two turns to a diameter.
	if !ok || t.PitchMm < 0.3 || t.PitchMm > 3 || t.DiameterMm != 0 && (t.DiameterMm < 2*t.PitchMm || t.DiameterMm > 30) {
		return Thread{}, fmt.Errorf("no rod end's thread is known as %q: give a name such as M6, M8x1.25 or 5/16-24 UNF, or a pitch such as \"1.25 mm\" or \"24 per inch\"", text)
	}
	return t, nil
}

// number reads what a pattern has already found to be digits.
func number(digits string) float64 {
	v, _ := strconv.ParseFloat(digits, 64)
	return v
}

// inchPitchMm is by the count of threads, which must fit the series if one is named.
func inchPitchMm(size, count, series string) (float64, bool) {
	named, known := perInch[series][size]
	switch {
	case count == "":
		return mmPerInch / named, known
	case series != "" && number(count) != named:
		return 0, false
	}
	return mmPerInch / number(count), true
}

// inchDiameterMm of a fraction of an inch or of a numbered size: 0.060 in and
// 0.013 in for each number (ASME B1.1, from memory).
func inchDiameterMm(size string) float64 {
	if above, below, ok := strings.Cut(size, "/"); ok {
		return mmPerInch * number(above) / number(below)
	}
	return mmPerInch * (0.060 + 0.013*number(size))
}

// RodEnds says how a rod's two ends are threaded.
type RodEnds string

const (
	// RightAndLeft: one right-hand and one left-hand thread. Turning the rod moves
	// both ends at once.
	RightAndLeft RodEnds = "right_and_left"
	// BothRight: turning the rod gains at one end what it loses at the other, so an
	// end has to come off its arm and is screwed in or out alone.
	BothRight RodEnds = "both_right"
)

// leadMm is how much longer a turn makes the rod.
func (e RodEnds) leadMm(t Thread) float64 {
	if e == RightAndLeft {
		return 2 * t.PitchMm
	}
	return t.PitchMm
}
