package main

import (
	"context"
	"encoding/json"
	"errors"
	"runtime"

	"github.com/spf13/cobra"

	"weepd/agent/proof"
)

func proofOutlookCommand(s streams) *cobra.Command {
	var packings, from, workers int
	c := &cobra.Command{
		Use:   "outlook",
		Short: "Hold the outlook against simulated lives of packings",
		Long: `outlook plays packings from new to spent: the weep grows between adjustments, a
mechanic comes some time after it has reached the most allowed and turns a flat
at a time, each takes off less than the one before, and one adjustment in ten
nobody records. Once between any two adjustments, at a random moment, the outlook
is asked when the next adjustment and the repacking are due; what it states as
80 % ranges is held against what came.

The weep grows evenly, by the same share each day, with the root of time, ever
faster with the packing's age, or in jumps: the forecaster knows the first two
kinds only. A packing is spent when four flats do not bring the weep under the
most allowed, when two adjustments in a row held for less than three days, or
when the follower's travel is used up. All of it is invented: coverage of real
packings can be measured on real packings only.

The forecaster's constants were set on packings 0 to 299; 1000 and up are new to
it. The last line is a JSON summary.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if packings < 1 || from < 0 || workers < 1 {
				return usageError{errors.New("want at least 1 packing and 1 worker, and no number below 0")}
			}
			return lookBack(cmd.Context(), s, from, packings, workers)
		},
	}
	c.Flags().IntVar(&packings, "packings", 500, "lives to play")
	c.Flags().IntVar(&from, "from", 1000, "number of the first")
	c.Flags().IntVar(&workers, "workers", runtime.NumCPU(), "lives at a time")
	return c
}

func lookBack(ctx context.Context, s streams, from, packings, workers int) error {
	backs := proof.LookBacks(ctx, from, packings, workers)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	out := &printer{w: s.out}
	out.table(func(row *printer) {
		row.printf("WHAT\tWEEP GROWS\tASKED\tSTATED\tHELD\tCAME BEFORE\tLATE/EARLY END\tDAYS AHEAD\n")
		for _, what := range []string{proof.SayAdjust, proof.SayRepack} {
			printCoverage(row, what, "in any way", proof.CoverageOf(backs, what, ""))
			for _, o := range proof.Openings() {
				printCoverage(row, what, string(o), proof.CoverageOf(backs, what, o))
			}
		}
	})
	sum := proof.Sum(backs)
	out.printf("\nof %d adjustments %d were not recorded, of which %d were noticed; %d false offers in %.0f gland-years, %.2g (%.2g to %.2g) a year\n",
		sum.Steps.Turns, sum.Steps.Silent, sum.Steps.Found, sum.Steps.False, sum.Steps.GlandYears,
		sum.Steps.PerYear.DPM, sum.Steps.PerYear.LowDPM, sum.Steps.PerYear.HighDPM)
	w := sum.Warning
	out.printf("of %d packings that were spent repack-due was raised at least a day before for %d, at least a week for %d, over sixty days for %d; in the median %.0f days\n",
		w.Spent, w.Day, w.Week, w.Early, w.Median)
	line, err := json.Marshal(sum)
	if err != nil {
		return err
	}
	out.printf("%s\n", line)
	return out.err
}

func printCoverage(row *printer, what, how string, c proof.Coverage) {
	row.printf("%s\t%s\t%d\t%d\t%.1f %%\t%.1f %%\t%.1f\t%.0f\n",
		what, how, c.Asked, c.Stated, 100*c.Coverage, 100*c.Early, c.Ratio, c.Ahead)
}
