package main

import (
	"github.com/spf13/pflag"

	"rimpair/measure"
)

// This file binds options that several commands share. A job keeps the rim's size,
// the camera and the printed rulers, and so binds the first two in its own way.

func bindRim(f *pflag.FlagSet, s *measure.Settings) {
	f.Float64Var(&s.BeadSeatMm, "rim", 0, "bead seat diameter of the front rims in mm, as on the tyre (305, 349, 355, 406, 451, ...); without it the size is found in the photos")
}

func bindCamera(f *pflag.FlagSet, camera *string) {
	f.StringVar(camera, "camera", "", "profile of the phone's camera (see rimpair camera), or none; without it the fitting one of the profiles folder, if there is one")
}

func bindSizes(f *pflag.FlagSet, s *measure.Settings) {
	f.Float64Var(&s.RimOuterMm, "rim-outer", 0, "in place of it, outer diameter of the front rims in mm, measured by hand from edge to edge")
	f.Float64Var(&s.RulerMm[0], "scale-x", 0, "what the printed 100 mm ruler across the page really measures, mm; without it 100, unless the wheels gainsay it")
	f.Float64Var(&s.RulerMm[1], "scale-y", 0, "the same along the page")
}

func bindRunout(f *pflag.FlagSet, s *measure.Settings) {
	f.Float64Var(&s.RunoutMm, "runout", defaultRunoutMm, "run-out of each rim to assume, mm peak to peak")
}

func bindSteering(f *pflag.FlagSet, s *measure.Settings) {
	f.Float64Var(&s.SteerWithinDeg, "steer-within", measure.UsualSteerWithinDeg, "how far at most the steering was from straight ahead, degrees, where the rear wheel does not show it")
}

func bindPositions(f *pflag.FlagSet, at *[]string) {
	f.StringArrayVar(at, "at", nil, "position of both valves and its photos or their folder, once for each position: top=a.jpg,b.jpg")
}
