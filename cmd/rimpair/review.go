package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/review"
	"rimpair/report/serve"
	"rimpair/vision"
)

// reviewFlags are the options of the review command.
type reviewFlags struct {
	json            bool
	reply, language string
	settings        measure.Settings
	camera          string
}

func newReviewCommand() *cobra.Command {
	var flags reviewFlags
	command := &cobra.Command{
		Use:   "review FOLDER|ZIP|PHOTO...",
		Short: "Review photos that others sent: group, judge and measure them, and draft replies",
		Long: `review takes photos of any number of vehicles, in folders with all that is below them,
in zip files or one by one. It groups them by the folder they came in, the camera, the
time, and how the sheets lie; judges each; measures each group, where its photos let it;
and drafts a reply to who sent them, to be read before it is sent. A photo that is bad
in any way stops nothing.

Photos of both half turns in folders side by side, top and bottom, oben and unten or 12
and 6, are measured together as positions of the wheels, as measure --at does.

Photos that came together though they are not of one state are measured in rounds: in
their order, a side that comes again begins another one.

The exit code is 0 when a group was measured, 3 when none could be, 1 when there is no
photo or something cannot be read or written.`,
		Example: "  rimpair review inbox\n  rimpair review sent.zip --reply replies --language de\n  rimpair review inbox --json > found.json",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			return runReview(ctx, args, flags, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	f := command.Flags()
	f.BoolVar(&flags.json, "json", false, "write everything as JSON, with the replies in every language")
	f.StringVar(&flags.reply, "reply", "", "folder to write a reply for each group to")
	f.StringVar(&flags.language, "language", "en", "language of the table and the replies: "+strings.Join(report.LanguageCodes(), " or "))
	bindRunout(f, &flags.settings)
	bindSteering(f, &flags.settings)
	bindCamera(f, &flags.camera)
	return command
}

func runReview(ctx context.Context, args []string, flags reviewFlags, stdout, stderr io.Writer) error {
	l, err := report.NewLanguage(flags.language)
	if err != nil {
		return err
	}
	unpacked, err := os.MkdirTemp("", "rimpair-review-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(unpacked)
	found := sources{unpacked: unpacked}
	for _, arg := range args {
		if err := found.add(arg, len(args) == 1); err != nil {
			return err
		}
	}
	for _, problem := range found.problems {
		fmt.Fprintf(stderr, "rimpair: %v\n", problem)
	}
	if len(found.files) == 0 {
		return fmt.Errorf("there is no photo in %s", strings.Join(args, ", "))
	}
	groups, loose, err := review.Run(ctx, found.files, review.Options{
		Limits: vision.DefaultLimits(), AtOnce: runtime.NumCPU(), Hold: review.HoldAtMost(pixelsAtOnce()),
		Measure: measureWith(flags.settings, flags.camera), Progress: progressOn(stderr),
	})
	if err != nil {
		return err
	}
	if flags.json {
		err = report.ReviewJSON(stdout, groups, loose)
	} else {
		err = report.ReviewTable(stdout, groups, loose, l)
	}
	if err == nil && flags.reply != "" {
		err = writeReplies(flags.reply, groups, l)
	}
	if err == nil && noneMeasured(groups) {
		err = errNoneMeasured
	}
	return err
}

// errNoneMeasured has been said already: only the exit code is left to give.
var errNoneMeasured = errors.New("no group could be measured")

func noneMeasured(groups []review.Measured) bool {
	for _, g := range groups {
		if len(g.States) > 0 {
			return false
		}
	}
	return true
}

// measureWith measures one state, or positions of the wheels, with the cameras that are
// known of the photos.
func measureWith(settings measure.Settings, camera string) func([]measure.State) (*measure.Measurement, error) {
	return func(states []measure.State) (m *measure.Measurement, err error) {
		settings := settings
		var inputs []measure.Input
		for _, s := range states {
			inputs = append(inputs, s.Inputs...)
		}
		if settings.Cameras, err = camerasFor(inputs, camera); err != nil {
			return nil, err
		}
		if len(states) > 1 {
			return measure.MeasurePositions(states, settings)
		}
		return measure.Measure(inputs, settings)
	}
}

// pixelsAtOnce lets photos that are worked on take about a quarter of the memory.
func pixelsAtOnce() int64 {
	var system unix.Sysinfo_t
	if err := unix.Sysinfo(&system); err != nil {
		return 100e6
	}
	return int64(system.Totalram) * int64(system.Unit) / 4 / review.BytesPerPixel
}

// progressOn draws a bar for each step where a person looks.
func progressOn(w io.Writer) func(step string, done, of int) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	words := map[string]string{review.Judging: "judging photos", review.Measuring: "measuring groups"}
	var mu sync.Mutex
	var bar *progressbar.ProgressBar
	last := ""
	return func(step string, done, of int) {
		mu.Lock()
		defer mu.Unlock()
		if step != last {
			last = step
			bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(fmt.Sprintf("%-16s", words[step])),
				progressbar.OptionShowCount(), progressbar.OptionSetWidth(30), progressbar.OptionClearOnFinish())
		}
		_ = bar.Set(max(done, int(bar.State().CurrentNum))) // a terminal that is gone needs no bar
	}
}

func writeReplies(dir string, groups []review.Measured, l *report.Language) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for i := range groups {
		if err := os.WriteFile(filepath.Join(dir, report.ReplyFile(groups, i, l)), []byte(report.Reply(&groups[i], l)), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// reviewServed reviews photos for the server, beside what else it does.
func reviewServed(ctx context.Context, photos []serve.ReviewPhoto, hold review.Hold, progress func(what string, done, of int)) (any, []serve.ReviewProblem, error) {
	files := make([]review.File, len(photos))
	for i, p := range photos {
		files[i] = review.File{Key: p.Key, Path: p.Path, Name: p.Name}
	}
	groups, loose, err := review.Run(ctx, files, review.Options{
		Limits: serve.PhotoLimits(), AtOnce: 1, Hold: hold,
		Measure: measureWith(measure.Settings{RunoutMm: defaultRunoutMm, SteerWithinDeg: measure.UsualSteerWithinDeg}, ""), Progress: progress,
	})
	if err != nil {
		return nil, nil, err
	}
	var problems []serve.ReviewProblem
	for _, p := range loose {
		for _, f := range p.Judgement.Findings {
			problems = append(problems, serve.ReviewProblem{Name: p.Name, Code: f.Code, Reason: f.Text})
		}
	}
	views, err := report.ReviewGroups(groups, false)
	return views, problems, err
}
