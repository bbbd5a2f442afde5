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
	var other against
	cmd := &cobra.Command{
		Use:   "replay --config FILE [--against FILE [--html FILE]] [--json] RECORDING...",
		Short: "Run recordings through the same rules as the agent",
		Long: `replay runs one or more recordings through the rules with the limits of a
configuration and prints what would have been raised, and when. Several
recordings are merged by time; "-" is standard input; .gz and .zst are read as
such. What has a row in a recording counts as fitted, so the configuration
needs no sensors.

A recording is CSV with the header time,point,value. A fault in one ends the
replay with its file and line, after everything before it has been reported.

With --against the recordings run once through two configurations, and what
they raise is put side by side, gland by gland and condition by condition:
alarms in both, in one only, earlier or later; totals a week; and the operator's
load by the measures of IEC 62682 and ISA-18.2. An alarm is in both if the two
configurations raise it for the same gland and condition and the two overlap or
lie at most --within apart; each counts once, the earliest with the earliest.
Nothing is changed. Limits are the engineer's, from the pump maker's and the
packing maker's instructions.`,
		Example: `  weepd replay --config quarry.yaml monday.csv.gz tuesday.csv.gz
  weepd replay --config quarry.yaml --against tighter.yaml --html change.html march.csv.zst
  zcat monday.csv.gz | weepd replay --config quarry.yaml --json -`,
		DisableFlagsInUseLine: true,

		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if first := slices.Index(args, "-"); first >= 0 && slices.Contains(args[first+1:], "-") {
				return usageError{errors.New("standard input (-) can be named only once")}
			}
			if err := other.check(cmd.Flags().Changed); err != nil {
				return err
			}
			if other.path != "" {
				return compared(cmd.Context(), s, configPath, other, args, asJSON)
			}
			cfg, err := config.Load(configPath)
			if err != nil {
				return err
			}
			return replayCommanded(cmd.Context(), s, cfg, args, asJSON)
		},
	}
	cmd.Flags().StringVarP(&configPath, "config", "c", "", "the configuration with the limits (needed)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON and nothing else: one object a transition, or one of the whole comparison")
	cmd.Flags().StringVar(&other.path, "against", "", "a second configuration to hold against the first")
	cmd.Flags().DurationVar(&other.within, "within", defaultWithin, "alarms so near in time count as the same alarm")
	cmd.Flags().StringVar(&other.html, "html", "", "write the comparison to this file as a page that needs nothing else")
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
	bar, stop := startProgress(s)
	out := bufio.NewWriter(bar)
	var to report = newTableReport(out, cfg)
	if asJSON {
		to = jsonReport{out}
	}
	tally := agent.NewReplayTally(cfg.Rules())
	rows, err := agent.FilesReplay{
		Config: cfg.Rules(), Stdin: s.in, Tally: tally, Tell: to.transition, Progress: &bar.ReplayProgress,
	}.Run(ctx, paths)
	if rows > 0 || err == nil {
		// What was read before a fault is reported all the same.
		err = errors.Join(to.end(tally), err)
	}
	err = errors.Join(out.Flush(), stop(), err)
	_, countErr := fmt.Fprintf(s.err, "rows used: %d\n", rows)
	return errors.Join(err, countErr)
}
