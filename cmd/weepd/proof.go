package main

import (
	"errors"

	"github.com/spf13/cobra"
)

func proofCommand(s streams) *cobra.Command {
	c := &cobra.Command{
		Use:    "proof",
		Short:  "Hold the detector against theory and simulation",
		Hidden: true,
		Long: `proof holds the detector against theory and simulation, for engineers: how
early it finds a change beside what is possible and beside plain counting, how
often it cries wolf over years of simulated quiet glands, and whether the outlook
of a packing holds what it says.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return usageError{errors.New("which proof? delays, quiet, outlook or replay")}
		},
	}
	c.AddCommand(proofDelaysCommand(s), proofQuietCommand(s), proofOutlookCommand(s), proofReplayCommand(s))
	return c
}
