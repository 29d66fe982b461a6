package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"rimpair/report"
	"rimpair/vision"
)

const version = "0.1.0"

// Exit codes.
const (
	exitDone    = 0
	exitFailed  = 1 // wrong use, a file that cannot be read or written
	exitRefused = 3 // the photos do not settle a number
)

func newRootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "rimpair",
		Short: "Measure the toe of a tricycle's two front wheels from photos",
		Long: `rimpair measures how parallel the two steered front wheels of a recumbent
tricycle are, from photos that show printed reference sheets on the floor.`,
		Version:            version,
		SilenceErrors:      true, // run prints them, on one line
		SilenceUsage:       true,
		DisableSuggestions: true,
		CompletionOptions:  cobra.CompletionOptions{HiddenDefaultCmd: true},
	}
	root.AddCommand(newSheetCommand(), newMeasureCommand(), newCameraCommand(), newAdjustCommand(), newJobCommand(), newReviewCommand(), newServeCommand(), newPlayCommand(), newCompareCommand())
	return root
}

// run carries out one command line and returns the exit code.
func run(args []string, stdout, stderr io.Writer) int {
	root := newRootCommand()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	command, err := root.ExecuteC()
	return exitCode(err, wantsJSON(command), stdout, stderr)
}

// wantsJSON says whether the command has a --json flag and it was given.
func wantsJSON(command *cobra.Command) bool {
	yes, err := command.Flags().GetBool("json")
	return err == nil && yes
}

// exitCode says what went wrong, if anything did, and returns the code for it. A
// refusal is an answer: a program that asked for JSON gets it on stdout.
func exitCode(err error, asJSON bool, stdout, stderr io.Writer) int {
	var refusal *vision.Refusal
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errNoneMeasured):
		return exitRefused
	case !errors.As(err, &refusal):
		fmt.Fprintf(stderr, "rimpair: %v\n", err)
		return exitFailed
	case asJSON:
		if err := report.RefusalJSON(stdout, refusal); err != nil {
			fmt.Fprintf(stderr, "rimpair: %v\n", err)
			return exitFailed
		}
	default:
		fmt.Fprintf(stderr, "rimpair: no number: %v\n", refusal)
	}
	return exitRefused
}
