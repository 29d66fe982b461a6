package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

// addFlags are the options of job add.
type addFlags struct {
	vehicle  vehicleFlags
	checks   []string
	turned   []string
	note     string
	keepOnly bool
	stage    string
	valves   string
	at       []string
	settings measure.Settings
	changed  func(string) bool
	// What they say, read:
	positions []namedPhotos
}

func newJobAddCommand() *cobra.Command {
	var flags addFlags
	command := &cobra.Command{
		Use:   "add JOB [PHOTO...] | add FILE.zip [STORE]",
		Short: "Measure photos, or record a check, a turn of a rod or a note",
		Long: `add measures photos and records them as the stage that comes next (job show says
which), or as --stage says. With --check, --turned or --keep-only the photos are kept
without measuring. What is known of the vehicle can be told at any time, and what the
printed ruler measures: both are kept for the photos to come.

With --at in place of photos, once for each position of both front wheels, all
positions are one stage, its toe free of the rims' run-out (see rimpair measure).

With the zip file of an exported job in place of a job, it is taken in.`,
		Example: `  rimpair job add trike-7 --check wheel_axles,kingpins,rod_ends=ok
  rimpair job add trike-7 --check spokes=failed --note "two are loose" spokes.jpg
  rimpair job add trike-7 front.jpg rear.jpg above.jpg
  rimpair job add trike-7 --at top=a.jpg,b.jpg --at bottom=c.jpg,d.jpg
  rimpair job add trike-7 --turned "tie_rod 0.5 longer"
  rimpair job add received.zip jobs`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			if job.IsArchive(args[0]) {
				return runTakeIn(args, command.OutOrStdout())
			}
			return runJobAdd(args[0], args[1:], &flags, command.OutOrStdout())
		},
	}
	f := command.Flags()
	f.StringArrayVar(&flags.checks, "check", nil, "result of checks: NAME[,NAME...]=ok, failed or not_there")
	f.StringArrayVar(&flags.turned, "turned", nil, "what was turned: \"[ROD] TURNS longer\" or \"... shorter\"; ROD is "+strings.Join(job.Rods(), ", "))
	f.StringVar(&flags.note, "note", "", "a note, in any words")
	f.BoolVar(&flags.keepOnly, "keep-only", false, "keep the photos without measuring them")
	f.StringVar(&flags.stage, "stage", "", "what the photos show: "+strings.Join(stageNames(), ", "))
	f.StringVar(&flags.valves, "valves", "", "where the front wheels' valves stand, in any words (\"top\"): the rims' run-out cancels between states with the same words")
	bindPositions(f, &flags.at)
	flags.vehicle.bind(f)
	bindSizes(f, &flags.settings)
	bindRunout(f, &flags.settings)
	bindSteering(f, &flags.settings)
	flags.changed = f.Changed
	return command
}

func stageNames() []string {
	var names []string
	for _, s := range job.Stages() {
		names = append(names, string(s))
	}
	return names
}

func runTakeIn(args []string, stdout io.Writer) error {
	if len(args) > 2 {
		return errors.New("a zip file is taken in alone: job add FILE.zip [STORE]")
	}
	dir, err := job.TakeIn(args[0], append(args, ".")[1])
	if err != nil {
		return err
	}
	if err := showJob(dir, stdout); err != nil {
		return err
	}
	_, err = fmt.Fprintf(stdout, "\nTaken in as %s\n", dir)
	return err
}

func runJobAdd(dir string, photos []string, flags *addFlags, stdout io.Writer) error {
	photos, err := flags.allPhotos(photos)
	if err != nil {
		return err
	}
	adds, err := flags.entries(photos)
	if err != nil {
		return err
	}
	if len(adds) == 0 && !flags.vehicle.any() && !flags.changed("scale-x") && !flags.changed("scale-y") {
		return errors.New("nothing to add: give photos, --check, --turned, --note, or what is known of the vehicle")
	}
	switch {
	case flags.measures(photos):
		err = flags.measurePhotos(dir, photos, &adds[0], stdout)
	case len(photos) > 0:
		err = adds[0].Unmeasured()
	}
	if err != nil {
		return err
	}
	if len(flags.turned) > 0 {
		if err := recordAdvice(dir, adds[0].Entry.Adjustment); err != nil {
			return err
		}
	}
	err = job.Update(dir, func(d *job.Draft) error {
		if err := flags.vehicle.apply(&d.Vehicle); err != nil {
			return err
		}
		if err := flags.applyRuler(&d.RulerMm); err != nil {
			return err
		}
		for _, a := range adds {
			if err := a.To(d); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && flags.vehicle.cameraFile != "" && flags.vehicle.cameraFile != noCamera {
		err = addCamera(dir, flags.vehicle.cameraFile, "")
	}
	if err != nil {
		return err
	}
	return showJob(dir, stdout)
}

// allPhotos are those named alone, or those of all positions.
func (flags *addFlags) allPhotos(photos []string) (_ []string, err error) {
	if len(flags.at) == 0 {
		return photos, nil
	}
	if len(photos) > 0 || flags.changed("valves") {
		return nil, errors.New("--at names all photos and where the valves stand in them: give no others, and no --valves")
	}
	flags.positions, err = parseStates(flags.at)
	return allPaths(flags.positions), err
}

// applyRuler puts what was said of the printed ruler over what is known; an axis of
// which nothing was ever said came out as it should.
func (flags *addFlags) applyRuler(to *[2]float64) error {
	for axis, name := range []string{"scale-x", "scale-y"} {
		if !flags.changed(name) {
			continue
		}
		if *to == [2]float64{} {
			*to = [2]float64{calib.RulerMm, calib.RulerMm}
		}
		to[axis] = flags.settings.RulerMm[axis]
	}
	return checkRuler(*to)
}

// recordAdvice keeps what was advised with what was turned.
func recordAdvice(dir string, to *job.Adjustment) error {
	s, err := job.Inspect(dir)
	if err != nil {
		return err
	}
	to.Advice, err = report.JobAdvice(s, report.English())
	return err
}

// measures says that the photos are to be measured.
func (flags *addFlags) measures(photos []string) bool {
	return len(photos) > 0 && len(flags.checks) == 0 && len(flags.turned) == 0 && !flags.keepOnly
}

// entries are what the options say; photos and note go with the first.
func (flags *addFlags) entries(photos []string) ([]report.JobAddition, error) {
	var list []report.JobAddition
	switch {
	case len(flags.checks) > 0 && len(flags.turned) > 0:
		return nil, errors.New("record a check and a turn one after the other")
	case len(flags.checks) > 0:
		for _, text := range flags.checks {
			checks, err := parseChecks(text)
			if err != nil {
				return nil, err
			}
			for _, c := range checks {
				list = append(list, report.JobAddition{Entry: job.Entry{At: now(), Check: &c}})
			}
		}
		if len(list) > 1 && (len(photos) > 0 || flags.note != "") {
			return nil, errors.New("a note and photos belong to one check: record it alone")
		}
	case len(flags.turned) > 0:
		var turns job.Adjustment
		for _, text := range flags.turned {
			t, err := parseRodTurned(text)
			if err != nil {
				return nil, err
			}
			turns.Turned = append(turns.Turned, t)
		}
		list = append(list, report.JobAddition{Entry: job.Entry{At: now(), Adjustment: &turns}})
	case len(photos) > 0 || flags.note != "":
		list = append(list, report.JobAddition{Entry: job.Entry{At: now()}})
	}
	if !flags.measures(photos) {
		for _, name := range []string{"stage", "valves", "at", "rim-outer", "runout", "steer-within"} {
			if flags.changed(name) {
				return nil, fmt.Errorf("--%s goes with photos to be measured", name)
			}
		}
	}
	if flags.stage != "" && !slices.Contains(stageNames(), flags.stage) {
		return nil, fmt.Errorf("no stage %q: give %s", flags.stage, strings.Join(stageNames(), ", "))
	}
	if len(list) > 0 {
		list[0].Photos, list[0].Entry.Note = photos, flags.note
	}
	return list, nil
}

// measurePhotos measures an addition's photos, before anything is recorded. When they
// are refused, what must not be overlooked is said all the same.
func (flags *addFlags) measurePhotos(dir string, photos []string, a *report.JobAddition, stdout io.Writer) error {
	j, _, err := job.Read(dir)
	if err != nil {
		return err
	}
	if err := flags.vehicle.apply(&j.Vehicle); err != nil {
		return err
	}
	settings := flags.settings
	if settings.RimOuterMm == 0 || flags.changed("rim") { // measured by hand it goes before the job's own
		settings.BeadSeatMm = j.Vehicle.RimMm
	}
	if err := flags.applyRuler(&j.RulerMm); err != nil {
		return err
	}
	settings.RulerMm = j.RulerMm
	m, inputs, err := measureStage(photos, flags.positions, settings, flags.camera(dir, j))
	if err != nil {
		return errors.Join(report.Alarms(stdout, report.JobAlarms(j, report.English())), err)
	}
	stage := j.Next().Stage
	if flags.stage != "" {
		stage = job.Stage(flags.stage)
	}
	if err := a.Measured(m, inputs, stage, flags.valves); err != nil {
		return err
	}
	for _, p := range flags.positions {
		a.Entry.Measurement.Positions = append(a.Entry.Measurement.Positions, slices.Repeat([]string{p.name}, len(p.paths))...)
	}
	return nil
}

// camera is the profile to measure with: that given now, else the job's own.
func (flags *addFlags) camera(dir string, j *job.Job) string {
	if flags.vehicle.cameraFile == "" && j.Vehicle.CameraProfile != nil {
		return filepath.Join(dir, filepath.FromSlash(j.Vehicle.CameraProfile.File))
	}
	return flags.vehicle.cameraFile
}

// parseChecks reads "spokes,kingpins=ok".
func parseChecks(text string) ([]job.Check, error) {
	names, result, _ := strings.Cut(text, "=")
	if !slices.Contains(job.Results(), job.Result(result)) {
		return nil, fmt.Errorf("--check takes a check and its result, such as spokes=ok, spokes=failed or rear_suspension=not_there, not %q", text)
	}
	var list []job.Check
	for name := range strings.SplitSeq(names, ",") {
		if _, ok := job.CheckByID(name); !ok {
			var all []string
			for _, c := range job.Checks() {
				all = append(all, c.ID)
			}
			return nil, fmt.Errorf("no check %q: there are %s", name, strings.Join(all, ", "))
		}
		list = append(list, job.Check{ID: name, Result: job.Result(result)})
	}
	return list, nil
}

// parseRodTurned reads "left_rod 0.5 longer"; without a rod it is the tie rod.
func parseRodTurned(text string) (job.Turned, error) {
	rod, rest, _ := strings.Cut(strings.TrimSpace(text), " ")
	if !slices.Contains(job.Rods(), rod) {
		rod, rest = job.Rods()[0], text
	}
	turns, err := parseTurned(rest)
	if err != nil {
		return job.Turned{}, err
	}
	return job.Turned{Rod: rod, LongerByTurns: turns}, nil
}
