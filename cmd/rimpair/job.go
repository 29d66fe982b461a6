package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rimpair/calib"
	"rimpair/measure"
	"rimpair/report"
	"rimpair/report/job"
)

func newJobCommand() *cobra.Command {
	command := &cobra.Command{
		Use:   "job",
		Short: "Keep the record of a piece of work, from the checks to the last lock nut",
		Long: `job keeps everything of a piece of work in a plain folder: checks before measuring,
the toe as found, every turn of a rod, every lock nut, the final state and later
follow-ups, with the photos as they came. After each step it says what comes next.`,
		Args: cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error { return command.Help() },
	}
	command.AddCommand(newJobNewCommand(), newJobAddCommand(), newJobShowCommand(), newJobListCommand(), newJobReportCommand(), newJobExportCommand())
	return command
}

func newJobNewCommand() *cobra.Command {
	var j job.Job
	var vehicle vehicleFlags
	var from string
	command := &cobra.Command{
		Use:   "new FOLDER",
		Short: "Begin a job",
		Example: `  rimpair job new trike-7 --rim 406 --thread M6 --customer "A. Rider" --reference 2026-41
  rimpair job new trike-7-spring --from trike-7`,
		Args: cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			if from != "" {
				if err := takeVehicle(&j, from, command.Flags().Changed); err != nil {
					return err
				}
			}
			if err := vehicle.apply(&j.Vehicle); err != nil {
				return err
			}
			j.Created = now()
			if err := job.Create(args[0], j); err != nil {
				return err
			}
			if vehicle.cameraFile != noCamera && (vehicle.cameraFile != "" || from != "") {
				if err := addCamera(args[0], vehicle.cameraFile, from); err != nil {
					return err
				}
			}
			return showJob(args[0], command.OutOrStdout())
		},
	}
	f := command.Flags()
	f.StringVar(&j.Customer, "customer", "", "whose vehicle it is, in any words")
	f.StringVar(&j.Reference, "reference", "", "the workshop's own reference, in any words")
	f.StringVar(&from, "from", "", "an earlier job of the same vehicle: what is known of it, with what a turn makes, is taken over")
	vehicle.bind(f)
	return command
}

// takeVehicle takes over what an earlier job knows, with what it learned.
func takeVehicle(j *job.Job, from string, changed func(string) bool) error {
	old, err := job.Inspect(from)
	if err != nil {
		return err
	}
	j.Vehicle = old.Vehicle
	j.Vehicle.CameraProfile = nil // addCamera copies it
	if !changed("customer") {
		j.Customer = old.Customer
	}
	latest, _ := old.LastResult()
	if perTurn, ok := old.Learned(latest); ok {
		j.Vehicle.Steering.MmPerTurn = &measure.Estimate{Value: perTurn.Value, StandardUncertainty: perTurn.StandardUncertainty}
	}
	return nil
}

// addCamera keeps a camera's profile: that given, else that of an earlier job.
func addCamera(dir, file, from string) error {
	if file == "" {
		old, damage, err := job.Read(from)
		if err != nil {
			return err
		}
		if len(damage) > 0 || old.Vehicle.CameraProfile == nil {
			return nil
		}
		file = filepath.Join(from, filepath.FromSlash(old.Vehicle.CameraProfile.File))
	}
	if _, err := calib.LoadProfile(file); err != nil {
		return err
	}
	content, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	return job.Update(dir, func(d *job.Draft) error { return d.SetCameraProfile(filepath.Base(file), content) })
}

func newJobShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "show JOB",
		Short: "Show a job: what must not be overlooked, the toe, what comes next, the record",
		Args:  cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			return showJob(args[0], command.OutOrStdout())
		},
	}
}

func showJob(dir string, stdout io.Writer) error {
	s, err := job.Inspect(dir)
	if err != nil {
		return err
	}
	return report.JobText(stdout, s, s.Advice())
}

func newJobListCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "list [STORE]",
		Short: "List the jobs in a folder, latest first",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			jobs, err := job.List(append(args, ".")[0])
			if err != nil {
				return err
			}
			return report.JobsText(command.OutOrStdout(), jobs)
		},
	}
}

func newJobExportCommand() *cobra.Command {
	var output string
	command := &cobra.Command{
		Use:   "export JOB",
		Short: "Pack a job into one zip file for sending, its photos without location data",
		Long: `export packs a job into one zip file. Of its photos only the picture and what
measuring needs is sent (make, model, lens, focal length, orientation): no place, no
time, no maker's notes, no hidden further pictures. Customer, reference and notes are
sent as they stand. "rimpair job add FILE.zip" takes it in.`,
		Args: cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			if output == "" {
				absolute, err := filepath.Abs(args[0])
				if err != nil {
					return err
				}
				output = filepath.Base(absolute) + ".zip"
			}
			if _, err := os.Lstat(output); !errors.Is(err, os.ErrNotExist) {
				return fmt.Errorf("%s is there already", output)
			}
			leftOut, err := job.Export(args[0], output)
			if err != nil {
				return err
			}
			return report.JobExported(command.OutOrStdout(), args[0], output, leftOut)
		},
	}
	command.Flags().StringVarP(&output, "output", "o", "", "file to write (the job's name, with .zip)")
	return command
}

func now() time.Time { return time.Now().UTC().Truncate(time.Second) }
