package main

import (
	"github.com/spf13/pflag"

	"rimpair/measure"
	"rimpair/report/job"
)

// vehicleFlags are what a person can tell of the vehicle, when beginning a job or
// later.
type vehicleFlags struct {
	name, steeringFile, thread, cameraFile string
	rimMm                                  float64
	track, wheelbase                       *measure.Known
	flags                                  *pflag.FlagSet
}

func (v *vehicleFlags) bind(f *pflag.FlagSet) {
	v.flags = f
	f.StringVar(&v.name, "vehicle", "", "the vehicle, in any words")
	f.Float64Var(&v.rimMm, "rim", 0, "bead seat diameter of the front rims in mm, as on the tyre")
	f.Var(knownFlag{&v.track}, "track", "track in mm, such as 720 or 720+-2")
	f.Var(knownFlag{&v.wheelbase}, "wheelbase", "wheelbase in mm")
	f.StringVar(&v.steeringFile, "steering", "", "file that describes the steering, as for the adjust command")
	f.StringVar(&v.thread, "thread", "", "thread of the tie rods' ends: M6, M8x1.25, ...")
	f.StringVar(&v.cameraFile, "camera", "", "profile of the calibrated camera, kept with the job")
}

// any says that something was told.
func (v *vehicleFlags) any() bool {
	for _, name := range []string{"vehicle", "rim", "track", "wheelbase", "steering", "thread", "camera"} {
		if v.flags.Changed(name) {
			return true
		}
	}
	return false
}

// apply puts what was told over what is known.
func (v *vehicleFlags) apply(to *job.Vehicle) error {
	if v.steeringFile != "" {
		s, err := readSteering(v.steeringFile)
		if err != nil {
			return err
		}
		s.Record = nil // that is in the job's entries
		to.Steering = s
	}
	if v.thread != "" {
		if _, err := measure.ParseThread(v.thread); err != nil {
			return err
		}
		to.Steering.Thread = v.thread
	}
	if v.flags.Changed("rim") {
		if err := checkRim(v.rimMm); err != nil {
			return err
		}
		to.RimMm = v.rimMm
	}
	if v.name != "" {
		to.Name = v.name
	}
	if v.track != nil {
		to.TrackMm = v.track
	}
	if v.wheelbase != nil {
		to.WheelbaseMm = v.wheelbase
	}
	return nil
}
