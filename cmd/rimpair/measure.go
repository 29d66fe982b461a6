package main

import (
	"fmt"
	"io"
	"runtime"
	"sync"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/vision"
)

// measureFlags are the options of the measure command.
type measureFlags struct {
	settings measure.Settings
	json     bool
	out      string
	camera   string
	learn    bool
	explain  bool
	at       []string
}

func newMeasureCommand() *cobra.Command {
	var flags measureFlags
	command := &cobra.Command{
		Use:   "measure PHOTO... | --at POSITION=PHOTO,PHOTO --at POSITION=PHOTO,PHOTO",
		Short: "Measure toe, camber and track from photos of one state",
		Long: `measure takes the photos of one vehicle that was not moved between them, from any
side and in any order, and states the total toe at the rims with its 95 % interval,
each wheel's toe and camber, the track, and what a tape would read in front and at
the rear. Photos that do not settle a number are refused with the reason.

With --at, once for each, it takes photos of two or more positions between which both
front wheels were turned, best by half a turn: the rims' run-out then goes out of the
toe and is stated. Positions are where both valves stand: top and bottom, or by the
clock, seen from the vehicle's right side: 12 at the top, 3 in front, 6 at the bottom,
9 at the rear. The sheets stay where they are, and the steering is held.`,
		Example: `  rimpair measure front.jpg rear.jpg above.jpg --rim 406
  rimpair measure *.jpg --out result
  rimpair measure --at top=a.jpg,b.jpg --at bottom=c.jpg,d.jpg --rim 406`,
		Args: func(command *cobra.Command, paths []string) error {
			if len(flags.at) > 0 {
				return cobra.NoArgs(command, paths)
			}
			return cobra.MinimumNArgs(1)(command, paths)
		},
		RunE: func(command *cobra.Command, paths []string) error {
			return runMeasure(paths, flags, command.InOrStdin(), command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	f := command.Flags()
	bindRim(f, &flags.settings)
	bindSizes(f, &flags.settings)
	bindRunout(f, &flags.settings)
	bindSteering(f, &flags.settings)
	f.BoolVar(&flags.json, "json", false, "write the result as JSON")
	f.BoolVar(&flags.explain, "explain", false, "write the whole uncertainty budget as well (JSON always has it)")
	bindPositions(f, &flags.at)
	f.StringVar(&flags.out, "out", "", "folder for the result, the marked photos and the view from above")
	bindCamera(f, &flags.camera)
	f.BoolVar(&flags.learn, "learn", false, "offer to keep the camera in the profiles folder once these photos tell it better")
	return command
}

// defaultRunoutMm is the most that ISO 4210-2 allows a wheel with rim brakes (from
// memory), and what a wheel in use often has.
const defaultRunoutMm = 1.0

func runMeasure(paths []string, flags measureFlags, stdin io.Reader, stdout, stderr io.Writer) error {
	positions, err := parseStates(flags.at)
	if err != nil {
		return err
	}
	if len(positions) > 0 {
		paths = allPaths(positions)
	}
	m, inputs, err := measureStage(paths, positions, flags.settings, flags.camera)
	if err != nil {
		return err
	}
	if flags.json {
		err = report.JSON(stdout, m.Result)
	} else {
		err = report.Text(stdout, m.Result)
		if err == nil && flags.explain {
			err = report.Explain(stdout, m.Result)
		}
	}
	if err == nil && flags.learn {
		err = offerCameras(m.Cameras, stdin, stderr)
	}
	if err != nil || flags.out == "" {
		return err
	}
	orientations := make([]int, len(inputs))
	for i := range inputs {
		orientations[i] = inputs[i].Photo.Orientation
	}
	files, err := report.WriteAll(flags.out, *m, paths, orientations)
	// The paths go where they do not mix with JSON.
	list := stdout
	if flags.json {
		list = stderr
	}
	for _, file := range files {
		fmt.Fprintln(list, file)
	}
	return err
}

// measureStage measures photos of one position of the wheels, or of several where there
// are some.
func measureStage(paths []string, positions []namedPhotos, settings measure.Settings, camera string) (*measure.Measurement, []measure.Input, error) {
	if len(positions) > 0 {
		return measurePositions(positions, settings, camera)
	}
	return measurePhotos(paths, settings, camera)
}

// measurePhotos measures the photos of one state, with the camera's profile in a file,
// with none, or with the one that fits where none is named.
func measurePhotos(paths []string, settings measure.Settings, camera string) (*measure.Measurement, []measure.Input, error) {
	inputs, err := load(paths, &settings, camera)
	if err != nil {
		return nil, nil, err
	}
	m, err := measure.Measure(inputs, settings)
	return m, inputs, err
}

// load checks the settings, reads the photos and finds what cameras are known of them.
func load(paths []string, settings *measure.Settings, camera string) ([]measure.Input, error) {
	if settings.BeadSeatMm != 0 {
		if err := checkRim(settings.BeadSeatMm); err != nil {
			return nil, err
		}
	}
	if outer := settings.RimOuterMm; outer != 0 {
		if settings.BeadSeatMm != 0 {
			return nil, fmt.Errorf("give --rim or --rim-outer, not both")
		}
		if outer < 200 || outer > 700 {
			return nil, fmt.Errorf("--rim-outer takes an outer diameter in mm, such as 418, not %g", outer)
		}
	}
	if settings.RunoutMm < 0 {
		return nil, fmt.Errorf("--runout cannot be negative")
	}
	if d := settings.SteerWithinDeg; d < 0 || d > 20 {
		return nil, fmt.Errorf("--steer-within takes degrees from 0 to 20, not %g", d)
	}
	if err := checkRuler(settings.RulerMm); err != nil {
		return nil, err
	}
	inputs, err := loadInputs(paths)
	if err != nil {
		return nil, err
	}
	if settings.Cameras, err = camerasFor(inputs, camera); err != nil {
		return nil, err
	}
	return inputs, nil
}

func checkRim(beadSeatMm float64) error {
	if beadSeatMm < 200 || beadSeatMm > 700 {
		return fmt.Errorf("--rim takes a bead seat diameter in mm, such as 406, not %g", beadSeatMm)
	}
	return nil
}

func checkRuler(axesMm [2]float64) error {
	for _, mm := range axesMm {
		if mm != 0 && !measure.PlausibleRuler(mm) {
			return fmt.Errorf("--scale-x and --scale-y take what the 100 mm ruler measures in mm, such as 98.6, not %g", mm)
		}
	}
	return nil
}

// loadInputs reads the photos and finds their sheets, as many at once as there are
// processors. Of several that cannot be used the first in order is named, whichever
// is read first.
func loadInputs(paths []string) ([]measure.Input, error) {
	inputs, errs := make([]measure.Input, len(paths)), make([]error, len(paths))
	var group errgroup.Group
	group.SetLimit(runtime.NumCPU())
	for i, path := range paths {
		group.Go(func() error {
			inputs[i], errs[i] = loadInput(path)
			return nil
		})
	}
	_ = group.Wait() // the errors are in errs
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return inputs, nil
}

// loadInput reads a photo to be measured; its small copies are made while its sheets are looked
// for, which leaves a processor idle.
func loadInput(path string) (measure.Input, error) {
	var copies *measure.Copies
	in, err := loadPhoto(path, vision.Load, func(g *vision.Gray) ([]vision.Corner, error) {
		var making sync.WaitGroup
		making.Go(func() { copies = measure.NewCopies(g) })
		defer making.Wait()
		return vision.FindSheets(g)
	})
	in.Copies = copies
	return in, err
}

// loadPhoto reads a photo and finds what is to be found in it.
func loadPhoto(path string, load func(string, vision.Limits) (*vision.Photo, error), find func(*vision.Gray) ([]vision.Corner, error)) (measure.Input, error) {
	photo, err := load(path, vision.DefaultLimits())
	if err != nil {
		return measure.Input{}, err
	}
	corners, err := find(photo.Gray)
	if err != nil {
		if refusal, ok := err.(*vision.Refusal); ok {
			refusal.Photo = path
		}
		return measure.Input{}, err
	}
	return measure.Input{Photo: photo, Corners: corners}, nil
}
