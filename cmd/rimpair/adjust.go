package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/vision"
)

// adjustFlags are the options of the adjust command. Those of the steering override
// its description.
type adjustFlags struct {
	steeringFile string
	steering     measure.Steering
	aimMm        float64
	allowMm      []float64
	before       []string
	turned       []string
	barStraight  bool
	json         bool
}

func newAdjustCommand() *cobra.Command {
	var flags adjustFlags
	command := &cobra.Command{
		Use:   "adjust RESULT.json|JOB",
		Short: "Say which tie rod to turn, how far and which way",
		Long: `adjust takes a result of "rimpair measure --json" and a description of the steering,
as options or as a file, and says which rod to turn, how far and which way, and
what toe to expect afterwards. Where the toe is within the target, or not known
well enough, it says so instead. Given a job's folder, it takes the last measurement,
the steering and what was turned so far from there; options override.

Lengths are level, at the height of the rod ends, with the wheels straight ahead. A
figure may carry how well it is known: --arm 70+-2.`,
		Example: `  rimpair measure *.jpg --rim 406 --json > found.json
  rimpair adjust found.json --thread M6 --left-thread left --rods behind --arm 70
  rimpair adjust found.json --steering trike.json
  rimpair adjust now.json --thread M6 --before found.json --turned "0.5 longer"
  rimpair adjust trike-7`,
		Args: cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			return runAdjust(args[0], flags, command.Flags().Changed, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	f := command.Flags()
	s := &flags.steering
	f.StringVar(&flags.steeringFile, "steering", "", "file that describes the steering; the options below override it")
	f.StringVar((*string)(&s.Kind), "kind", "", "one_rod, two_rods (from a central arm) or bar_and_cross_rod (from the handlebar's arm to one wheel, and between the wheels)")
	f.StringVar(&s.Rods, "rods", "", "behind or in_front of the kingpins")
	f.StringVar(&s.Thread, "thread", "", "thread of the rod ends: M6, M8x1.25, 5/16-24 UNF, ..., or its pitch: \"1 mm\", \"24 per inch\"")
	f.StringVar((*string)(&s.Ends), "ends", "", "right_and_left threads, or both_right")
	f.StringVar(&s.LeftThread, "left-thread", "", "which end of the rod has the left-hand thread: left or right as the rider sits; of two rods also outer or inner")
	f.Var(knownFlag{&s.ArmMm}, "arm", "steering arm: mm from the kingpin's axis to the middle of the rod end")
	f.Var(knownFlag{&s.ArmInwardDeg}, "arm-inward", "degrees that the steering arm points inward from straight ahead or back")
	f.Var(knownFlag{&s.KingpinDistanceMm}, "kingpins", "mm between the kingpins")
	f.Var(knownFlag{&s.KingpinInclinationDeg}, "inclination", "degrees that the kingpins' tops lean inward")
	f.Var(knownFlag{&s.CasterDeg}, "caster", "degrees that the kingpins' tops lean to the rear")
	f.Float64Var(&s.EngagedMm, "engaged", 0, "mm of thread that is screwed into each rod end now")
	f.Var(knownFlag{&s.WheelsOffDeg}, "off", "degrees that the wheels point to the right (minus: left) with the handlebar straight")
	f.BoolVar(&flags.barStraight, "bar-straight", false, "in place of it, the handlebar was straight in the photos: centre the steering by what the rear wheel shows")
	command.MarkFlagsMutuallyExclusive("off", "bar-straight")
	f.Float64Var(&flags.aimMm, "aim", measure.DefaultTarget().AimMm, "total toe to aim at, mm, positive is toe-in")
	f.Float64SliceVar(&flags.allowMm, "allow", []float64{measure.DefaultTarget().LowMm, measure.DefaultTarget().HighMm}, "smallest and largest total toe that is allowed, mm")
	f.BoolVar(&s.Sprung, "sprung", false, "the front wheels are sprung")
	f.BoolVar(&s.RiderOn, "rider-on", false, "it was measured with the rider's weight on")
	f.StringArrayVar(&flags.before, "before", nil, "an earlier result, after which the rod was turned; with --turned, oldest first")
	f.StringArrayVar(&flags.turned, "turned", nil, "what was turned after it: \"0.5 longer\", \"0.25 shorter\"; of two rods the average")
	f.BoolVar(&flags.json, "json", false, "write the advice as JSON")
	return command
}

func runAdjust(path string, flags adjustFlags, changed func(string) bool, stdout, stderr io.Writer) error {
	found, err := readFound(path)
	if err != nil {
		return err
	}
	steering, err := flags.describe(found.steering, changed)
	if err != nil {
		return err
	}
	if flags.barStraight {
		if steering.WheelsOffDeg, err = offByRear(found.result); err != nil {
			return err
		}
		steering.BarOffDeg = nil
	}
	advice, err := measure.AdviseRods(found.result, steering)
	if err != nil {
		return err
	}
	// The alarms go where they do not mix with JSON.
	alarms := stdout
	if flags.json {
		alarms = stderr
	}
	if err := report.Alarms(alarms, found.alarms); err != nil {
		return err
	}
	if flags.json {
		return report.AdjustJSON(stdout, *advice, found.spoiling...)
	}
	return report.AdjustText(stdout, *advice, found.spoiling...)
}

// offByRear is where the wheels point with the handlebar straight, as the rear wheel shows it.
func offByRear(r measure.Result) (*measure.Known, error) {
	if r.Rear == nil {
		return nil, errors.New("--bar-straight: the rear wheel is not plainly seen in this result; give --off, or add a photo from behind that shows the whole rear wheel")
	}
	off := r.Rear.SteeringOffDeg
	return &measure.Known{Value: off.Value, PlusMinus: math.Sqrt(3) * off.StandardUncertainty}, nil // evenly within
}

// readResult reads a measurement; one that was refused stays refused.
func readResult(path string) (measure.Result, error) {
	var m struct {
		measure.Result
		Refused *vision.Refusal `json:"refused"`
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		return m.Result, err
	}
	if err := json.Unmarshal(raw, &m); err != nil {
		return m.Result, fmt.Errorf("%s is no result of \"rimpair measure --json\": %v", path, err)
	}
	if m.Refused != nil {
		return m.Result, m.Refused
	}
	if !strings.HasPrefix(m.Schema, "rimpair/measurement/") {
		return m.Result, fmt.Errorf("%s is no result of \"rimpair measure --json\"", path)
	}
	return m.Result, nil
}

// describe is the steering as known, or as its file says, with the options put over
// it. The record of a job stays beside a file's.
func (flags *adjustFlags) describe(s measure.Steering, changed func(string) bool) (measure.Steering, error) {
	if flags.steeringFile != "" {
		told, err := readSteering(flags.steeringFile)
		if err != nil {
			return s, err
		}
		told.Record = append(told.Record, s.Record...)
		s = told
	}
	// What was not given as an option is not in its JSON, and so stays as it is.
	options, err := json.Marshal(flags.steering)
	if err == nil {
		err = json.Unmarshal(options, &s)
	}
	if err != nil {
		return s, err
	}
	if err := flags.target(&s, changed); err != nil {
		return s, err
	}
	return s, flags.record(&s)
}

// readSteering reads a description of the steering.
func readSteering(path string) (s measure.Steering, err error) {
	f, err := os.Open(path)
	if err != nil {
		return s, err
	}
	defer f.Close()
	d := json.NewDecoder(f)
	d.DisallowUnknownFields() // a mistyped key would leave a guess in its place
	if err := d.Decode(&s); err != nil {
		return s, fmt.Errorf("%s: %v", path, err)
	}
	return s, nil
}

func (flags *adjustFlags) target(s *measure.Steering, changed func(string) bool) error {
	if !changed("aim") && !changed("allow") {
		return nil
	}
	t := measure.DefaultTarget()
	if s.Target != nil {
		t = *s.Target
	}
	if changed("aim") {
		t.AimMm = flags.aimMm
	}
	if changed("allow") {
		if len(flags.allowMm) != 2 {
			return fmt.Errorf("--allow takes the smallest and the largest toe, such as 0,2")
		}
		t.LowMm, t.HighMm = flags.allowMm[0], flags.allowMm[1]
	}
	s.Target = &t
	return nil
}

// record adds the earlier results to the steering's record.
func (flags *adjustFlags) record(s *measure.Steering) error {
	if len(flags.before) != len(flags.turned) {
		return fmt.Errorf("each --before needs its --turned: %d and %d were given", len(flags.before), len(flags.turned))
	}
	for i, path := range flags.before {
		m, err := readResult(path)
		if err != nil {
			return err
		}
		turns, err := parseTurned(flags.turned[i])
		if err != nil {
			return err
		}
		s.Record = append(s.Record, measure.RecordEntry{
			ToeMm:             measure.Estimate{Value: m.TotalToeMm.Value, StandardUncertainty: m.TotalToeMm.StandardUncertainty},
			ThenLongerByTurns: turns,
		})
	}
	return nil
}

// parseTurned reads "0.5 longer" as 0.5 and "0.5 shorter" as -0.5.
func parseTurned(text string) (float64, error) {
	amount, way, _ := strings.Cut(strings.TrimSpace(text), " ")
	turns, err := strconv.ParseFloat(amount, 64)
	sign, known := map[string]float64{"longer": 1, "shorter": -1}[strings.TrimSpace(way)]
	if err != nil || !known || !(turns > 0) {
		return 0, fmt.Errorf("--turned takes a number of turns and what they did to the rod, such as \"0.5 longer\", not %q", text)
	}
	return sign * turns, nil
}

// knownFlag reads a figure with how well it is known: 70 or 70+-2.
type knownFlag struct{ to **measure.Known }

func (k knownFlag) Set(text string) error {
	value, within, has := strings.Cut(strings.ReplaceAll(text, "±", "+-"), "+-")
	var known measure.Known
	var err error
	if known.Value, err = strconv.ParseFloat(strings.TrimSpace(value), 64); err == nil && has {
		known.PlusMinus, err = strconv.ParseFloat(strings.TrimSpace(within), 64)
	}
	if err != nil || known.PlusMinus < 0 {
		return errors.New("give a number, or a number and how well it is known, such as 70+-2")
	}
	*k.to = &known
	return nil
}

func (k knownFlag) String() string { return "" }

func (k knownFlag) Type() string { return "number" }
