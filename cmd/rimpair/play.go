package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rimpair/measure"
	"rimpair/report"
)

func newPlayCommand() *cobra.Command {
	var flags statesFlags
	var wheel string
	command := &cobra.Command{
		Use:   "play in=PHOTO,PHOTO out=PHOTO,PHOTO",
		Short: "Measure the free play of a front wheel pushed in and pulled out",
		Long: `play takes photos of one front wheel pushed in and the same photos of it pulled out,
by hand at the rim, held still while they are taken, and states by how much the rim
moves, in mm and as an angle, with 95 % intervals: about the upright axis (kingpin or toe
play: push the rim in front) or about the lengthwise one (wheel bearing: push it at the
top); and whether the play can be told from zero at all. Any two names will do, and a
folder in place of the photos. Which wheel moved is found; --wheel names it.`,
		Example: `  rimpair play in=a.jpg,b.jpg out=c.jpg,d.jpg --rim 406`,
		Args:    cobra.ExactArgs(2),
		RunE: func(command *cobra.Command, args []string) error {
			side, err := sideOf(wheel)
			if err != nil {
				return err
			}
			states, err := flags.load(args)
			if err != nil {
				return err
			}
			p, err := measure.FindPlay(states, side, flags.settings)
			if err != nil {
				return err
			}
			if flags.json {
				return report.PlayJSON(command.OutOrStdout(), *p)
			}
			return report.PlayText(command.OutOrStdout(), *p)
		},
	}
	flags.add(command)
	command.Flags().StringVar(&wheel, "wheel", "", "the wheel that was pushed: left or right (the one that moved)")
	return command
}

// sideOf is the side named, nil where none is.
func sideOf(name string) (*measure.Side, error) {
	if name == "" {
		return nil, nil
	}
	for _, side := range [2]measure.Side{measure.Left, measure.Right} {
		if side.String() == name {
			return &side, nil
		}
	}
	return nil, fmt.Errorf("--wheel is left or right, not %q", name)
}
