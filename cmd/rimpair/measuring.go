package main

import (
	"github.com/spf13/pflag"

	"rimpair/calib"
	"rimpair/measure"
)

// measuringFlags are the options of every command that measures, beside the rim's
// size and the camera, and the printed ruler, which a job keeps.
var measuringFlags = []string{"rim-outer", "runout"}

// bindMeasuring adds them to a command.
func bindMeasuring(f *pflag.FlagSet, s *measure.Settings) {
	f.Float64Var(&s.RimOuterMm, "rim-outer", 0, "in place of it, outer diameter of the front rims in mm, measured by hand from edge to edge")
	f.Float64Var(&s.RunoutMm, "runout", defaultRunoutMm, "run-out of each rim to assume, mm peak to peak")
	f.Float64Var(&s.RulerMm[0], "scale-x", calib.RulerMm, "what the printed 100 mm ruler across the page really measures, mm")
	f.Float64Var(&s.RulerMm[1], "scale-y", calib.RulerMm, "the same along the page")
}
