package main

import (
	"errors"

	"github.com/spf13/cobra"
)

const rootHelp = `weepd looks after packed glands (stuffing boxes) at a pump station.

A packed gland must weep: the drops lubricate and cool the packing. With too
few it burns within minutes, with too many water is lost and the floor floods.
weepd turns the pulses of a drip sensor into drops per minute and the gland's
temperature into a rise over a reference, and raises an alarm when a gland runs
dry, burns, leaks or gushes, or when a sensor is not to be believed.

SAFETY: weepd is no safety system, and its alarms do not replace trips. Shafts
turn, water is hot and under pressure. Before any work on a gland follow the
pump maker's instructions, the lock-out rules and the local codes, and leave
licensed work to those licensed for it. Never work on a turning shaft without
its guards; never slack back a hot gland on a running pump unless the maker's
instructions say so.`

func rootCommand(s streams, started *bool) *cobra.Command {
	root := &cobra.Command{
		Use:           "weepd",
		Short:         "Looks after packed glands at a pump station",
		Long:          rootHelp,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			if err := cmd.ValidateRequiredFlags(); err != nil {
				return err
			}
			*started = true
			return nil
		},
		RunE: func(*cobra.Command, []string) error {
			return usageError{errors.New("which command?")}
		},
	}
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.AddCommand(commands(s)...)
	return root
}
