package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rimpair/measure"
	"rimpair/report"
)

// statesFlags are the options of commands that take several states.
type statesFlags struct {
	settings measure.Settings
	json     bool
	camera   string
}

func (flags *statesFlags) add(command *cobra.Command) {
	f := command.Flags()
	bindRim(f, &flags.settings)
	bindSizes(f, &flags.settings)
	bindCamera(f, &flags.camera)
	f.BoolVar(&flags.json, "json", false, "write the result as JSON")
}

func (flags *statesFlags) load(args []string) ([]measure.State, error) {
	named, err := parseStates(args)
	if err != nil {
		return nil, err
	}
	states, _, err := loadStates(named, &flags.settings, flags.camera)
	return states, err
}

func newCompareCommand() *cobra.Command {
	var flags statesFlags
	command := &cobra.Command{
		Use:   "compare NAME=PHOTO,PHOTO NAME=PHOTO,PHOTO...",
		Short: "Measure how toe, camber, track and hub height differ between states",
		Long: `compare takes photos of two or more states of one vehicle under names of your own,
such as unloaded and rider, or before and after, and states how toe, camber, track and
hub height changed against the first, with 95 % intervals, and for each mm of travel where
the hubs rose or sank. Everything is adjusted together, so that a change is known better
than either state's total toe, which has to allow for the rims' run-out. The sheets stay
where they are and the wheels are not turned between the states. A folder works in place
of the photos.`,
		Example: `  rimpair compare unloaded=a.jpg,b.jpg rider=c.jpg,d.jpg --rim 406`,
		Args: func(command *cobra.Command, args []string) error {
			if len(args) < 2 {
				return fmt.Errorf("compare needs two states or more: NAME=PHOTO,PHOTO for each")
			}
			return nil
		},
		RunE: func(command *cobra.Command, args []string) error {
			states, err := flags.load(args)
			if err != nil {
				return err
			}
			c, err := measure.Compare(states, flags.settings)
			if err != nil {
				return err
			}
			if flags.json {
				return report.ComparisonJSON(command.OutOrStdout(), *c)
			}
			return report.ComparisonText(command.OutOrStdout(), *c)
		},
	}
	flags.add(command)
	bindRunout(command.Flags(), &flags.settings)
	bindSteering(command.Flags(), &flags.settings)
	return command
}
