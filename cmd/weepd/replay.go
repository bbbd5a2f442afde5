package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules"
)

func replayCommand(s streams) *cobra.Command {
	var configPath string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "replay --config FILE [--json] RECORDING...",
		Short: "Run recordings through the same rules as the agent",
		Long: `replay runs one or more recordings through the rules with the limits of a
configuration and prints what would have been raised, and when. Several
recordings are merged by time; "-" is standard input; .gz and .zst are read as
such. What has a row in a recording counts as fitted, so the configuration
needs no sensors.

A recording is CSV with the header time,point,value. A fault in one ends the
replay with its file and line, after everything before it has been reported.`,
		Example: `  weepd replay --config quarry.yaml monday.csv.gz tuesday.csv.gz
  zcat monday.csv.gz | weepd replay --config quarry.yaml --json -`,
		DisableFlagsInUseLine: true,

		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if first := slices.Index(args, "-"); first >= 0 && slices.Contains(args[first+1:], "-") {
				return usageError{errors.New("standard input (-) can be named only once")}
			}
			cfg, err := config.Load(configPath)
			if err != nil {
				return err
			}
			return replayCommanded(cmd.Context(), s, cfg, args, asJSON)
		},
	}
	cmd.Flags().StringVarP(&configPath, "config", "c", "", "the configuration with the limits (needed)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a transition and nothing else")
	if err := cmd.MarkFlagRequired("config"); err != nil {
		// Only a flag that was never defined can fail.
		cmd.RunE = func(*cobra.Command, []string) error { return err }
	}
	return cmd
}

// report is how a replay is printed.
type report interface {
	transition(t rules.Transition) error
	end(tally *agent.ReplayTally) error
}

func replayCommanded(ctx context.Context, s streams, cfg *config.Config, paths []string, asJSON bool) error {
	out := bufio.NewWriter(s.out)
	var to report = newTableReport(out, cfg)
	if asJSON {
		to = jsonReport{out}
	}
	tally := agent.NewReplayTally(cfg.Rules())
	rows, err := agent.ReplayFiles(ctx, s.in, cfg.Rules(), paths, tally, to.transition)
	if rows > 0 || err == nil {
		// What was read before a fault is reported all the same.
		err = errors.Join(to.end(tally), err)
	}
	err = errors.Join(out.Flush(), err)
	_, countErr := fmt.Fprintf(s.err, "rows used: %d\n", rows)
	return errors.Join(err, countErr)
}
