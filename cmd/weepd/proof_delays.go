package main

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"

	"github.com/spf13/cobra"

	"weepd/agent/proof"
)

const proofDelaysHelp = `delays measures how early the detector knows of a sudden change, beside theory
and beside counting. All times are mean seconds from the change.

DETECTOR  the real one; it has watched the gland for two hours and knows neither
          the new level nor the regularity k of the drip. The limit lies at the
          geometric mean of the two levels, the other limits far away; its budget
          is one false alarm a year at the edge of the promised band.
EDGE      the optimal CUSUM that knows k and the new level, from that edge: the
          best possible for this budget. Its threshold comes from Page's integral
          equation at one false alarm a year; PLAYED is the same by simulation.
OLD       the same CUSUM from the old level: a budget at the old level only.
LORDEN    the first-order bounds of the two, ln(drops in a year)/information;
          the exact CUSUM can lie below.
1 MIN,    clock windows of 1 minute, and two of 5 minutes in a row, judged at
2 x 5 MIN their ends and set to the same one false alarm a year at the edge: their
          counts' exact distribution (each k-th event of a Poisson stream, the
          phase kept from window to window) gives the limit, and a count next to
          it alarms with the chance that makes the rate exactly one a year.
ODD       the detector with 2 % splash and 2 % missed drops.
FRESH     the detector with a change ten minutes after it was switched on.`

func proofDelaysCommand(s streams) *cobra.Command {
	runs := 0
	c := &cobra.Command{
		Use:   "delays",
		Short: "How early a change is known, beside theory and counting",
		Long:  proofDelaysHelp,
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if runs < 2 {
				return usageError{fmt.Errorf("--runs %d: want at least 2", runs)}
			}
			return printDelays(cmd.Context(), &printer{w: s.out}, runs)
		},
	}
	c.Flags().IntVar(&runs, "runs", 1000, "simulated changes for each mean")
	return c
}

func printDelays(ctx context.Context, out *printer, runs int) error {
	rows, err := proof.Delays(ctx, runs, runtime.NumCPU())
	if err != nil {
		return err
	}
	out.printf("%s\n\n", proofDelaysHelp)
	out.table(func(cell *printer) { printOptimum(cell, rows) })
	out.printf("\n")
	out.table(func(cell *printer) { printWindows(cell, rows) })
	out.printf("\n")
	out.table(func(cell *printer) { printHardship(cell, rows) })
	line, err := json.Marshal(summaryOf(rows, runs))
	if err != nil {
		return err
	}
	out.printf("%s\n", line)
	return out.err
}

func change(r proof.Row) string {
	return fmt.Sprintf("%g->%g\t%d", r.FromDPM, r.ToDPM, r.Shape)
}

func plusMinus(m proof.Mean) string { return fmt.Sprintf("%.1f ±%.1f", m.Mean, m.Error) }

func printOptimum(cell *printer, rows []proof.Row) {
	cell.printf("CHANGE\tK\tDETECTOR\tEDGE\tPLAYED\tx EDGE\tLORDEN\tOLD\tPLAYED\tx OLD\tLORDEN\n")
	for _, r := range rows {
		e, o := r.FromEdge, r.FromOld
		cell.printf("%s\t%s\t%.1f\t%s\t%.2f\t%.1f\t%.1f\t%s\t%.2f\t%.1f\n", change(r), plusMinus(r.Detector),
			e.Cusum, plusMinus(e.Simulated), r.Ratio(), e.Lorden,
			o.Cusum, plusMinus(o.Simulated), r.Detector.Mean/o.Cusum, o.Lorden)
	}
}

func printWindows(cell *printer, rows []proof.Row) {
	cell.printf("CHANGE\tK\tEDGE DPM\tDETECTOR\t1 MIN\tLIMIT\t2 x 5 MIN\tLIMIT\tAHEAD OF BOTH\n")
	for _, r := range rows {
		ahead := "yes"
		if !r.Ahead() {
			ahead = "NO"
		}
		cell.printf("%s\t%.1f\t%s\t%s\t%s\t%s\t%s\t%s\n", change(r), r.EdgeDPM(), plusMinus(r.Detector),
			plusMinus(r.Minute.Delay), limit(r.Minute.Window), plusMinus(r.Fives.Delay), limit(r.Fives.Window), ahead)
	}
}

func limit(w proof.Window) string {
	sign, next := "<=", w.Limit+1
	if !w.Low {
		sign, next = ">=", w.Limit-1
	}
	return fmt.Sprintf("%s %d (%d: %.2f)", sign, w.Limit, next, w.Chance)
}

func printHardship(cell *printer, rows []proof.Row) {
	cell.printf("CHANGE\tK\tODD\tx EDGE\tFRESH\tx EDGE\tFALSE BEFORE A CHANGE\tFALSE IN FIRST 2 H AT THE EDGE, ODD\n")
	for _, r := range rows {
		cell.printf("%s\t%s\t%.2f\t%s\t%.2f\t%d\t%d in %.2f years\n", change(r), plusMinus(r.DetectorOdd), r.OddRatio(),
			plusMinus(r.DetectorFresh), r.DetectorFresh.Mean/r.FromEdge.Cusum, r.Early, r.FreshAlarms, r.FreshYears)
	}
}

// delaySummary is the last line, for machines.
type delaySummary struct {
	Runs        int         `json:"runs"`
	Rows        []proof.Row `json:"rows"`
	WorstK1     float64     `json:"worst_ratio_k1"` // detector over edge optimum
	WorstK4     float64     `json:"worst_ratio_k4"`
	WorstOddK1  float64     `json:"worst_odd_ratio_k1"` // with splash and missed drops
	WorstOddK4  float64     `json:"worst_odd_ratio_k4"`
	AheadOfBoth bool        `json:"ahead_of_both_windows"` // in every row
}

func summaryOf(rows []proof.Row, runs int) delaySummary {
	sum := delaySummary{Runs: runs, Rows: rows, AheadOfBoth: true}
	for _, r := range rows {
		plain, odd := &sum.WorstK1, &sum.WorstOddK1
		if r.Shape == 4 {
			plain, odd = &sum.WorstK4, &sum.WorstOddK4
		}
		*plain, *odd = max(*plain, r.Ratio()), max(*odd, r.OddRatio())
		sum.AheadOfBoth = sum.AheadOfBoth && r.Ahead()
	}
	return sum
}
