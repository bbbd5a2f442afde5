package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent/proof"
	"weepd/rules"
)

const glandYearDays = 365.25

func proofQuietCommand(s streams) *cobra.Command {
	q, stretches := proof.Quiet{}, 0
	c := &cobra.Command{
		Use:   "quiet --state FILE",
		Short: "Count false alarms over simulated quiet gland-years",
		Long: `quiet runs the whole core over simulated glands at which nothing happens that
the false-alarm budget does not cover: 15 to 90 drops per minute, regularity 1
to 12, a weep at an edge of the promised band or moving anywhere in it, up to
2 % splash and 2 % missed drops, day and night, a rise up to 0.8 of its limit,
stops and starts; some without a run signal, which then never stop.

Beside it come estimates for a weep that stays at the very edge, where false
alarms are most likely, by importance sampling.

Each gland-year that is done is a line of FILE; a run that is broken off goes
on from there. Take a new FILE after a change of the rules. Progress goes to
stderr; the last line is a JSON summary with exact Poisson limits a year.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return countFalseAlarms(cmd.Context(), s, q, stretches)
		},
	}
	c.Flags().IntVar(&q.Scenes, "years", 200, "gland-years")
	c.Flags().Float64Var(&q.Days, "days", glandYearDays, "length of a gland-year, for tests")
	c.Flags().IntVar(&q.Workers, "workers", runtime.NumCPU(), "gland-years at a time")
	c.Flags().IntVar(&stretches, "stretches", 4000, "for each estimate at an edge; 0 = no estimates")
	c.Flags().StringVar(&q.State, "state", "", "file of the gland-years that are done")
	_ = c.MarkFlagRequired("state")
	return c
}

func countFalseAlarms(ctx context.Context, s streams, q proof.Quiet, stretches int) error {
	if q.Scenes < 1 || q.Workers < 1 || !(q.Days > 0) || stretches < 0 {
		return usageError{errors.New("want at least 1 year, 1 worker, more than 0 days and no fewer than 0 stretches")}
	}
	progress := &printer{w: s.err}
	begin, done := time.Now(), 0
	q.Done = func(y proof.Year) {
		done++
		progress.printf("scene %d: %d drops, %d alarms; %d done in %s\n",
			y.Scene.Index, y.Drops, len(y.Alarms), done, time.Since(begin).Round(time.Second))
	}
	years, err := q.Run(ctx)
	if err != nil {
		return err
	}
	out := &printer{w: s.out}
	printFalseAlarms(out, years)
	if stretches > 0 {
		edges := proof.Edges(ctx, stretches, q.Workers)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		out.printf("\n%s\n\n", edgesHelp)
		out.table(func(row *printer) { printEdges(row, edges) })
	}
	line, err := json.Marshal(proof.TallyOf(years))
	if err != nil {
		return err
	}
	out.printf("%s\n", line)
	return out.err
}

func printFalseAlarms(out *printer, years []proof.Year) {
	for _, y := range proof.Alarmed(years) {
		for _, a := range y.Alarms {
			out.printf("scene %d (%s, shape %.2f): day %.4f, %s: %s\n", y.Scene.Index, y.Scene.Place, y.Scene.Shape, a.Day, a.Condition, a.Message)
		}
	}
	out.table(func(row *printer) {
		row.printf("PLACE\tGLAND-YEARS\tCONDITION\tALARMS\tA YEAR\t95 %%\n")
		for _, p := range []proof.Place{proof.LowEdge, proof.HighEdge, proof.Inside} {
			printTally(row, string(p), proof.TallyOf(proof.At(years, p)))
		}
		printTally(row, "all", proof.TallyOf(years))
	})
}

func printTally(row *printer, place string, t proof.Tally) {
	for c := range rules.Conditions {
		n := c.String()
		row.printf("%s\t%.4g\t%s\t%d\t%.3g\t%.3g to %.3g\n", place, t.GlandYears, n, t.Alarms[n], t.PerYear[n], t.Low95[n], t.High95[n])
	}
}

const edgesHelp = `A weep at the very edge of the promised band, by importance sampling: at a drop
that is drawn the weep becomes one that alarms, and each alarm counts by its
likelihood ratio. CHECK and PLAIN are importance sampling and plain simulation
at a budget of 1000 a year, where both can be done. All are alarms a year; in
brackets 95 % limits.`

func printEdges(row *printer, edges []proof.EdgeRow) {
	row.printf("EDGE\tDPM\tK\tODD\tBUDGET 1\tCHECK\tPLAIN\tAGREE\n")
	for _, e := range edges {
		side, agree := "high", "yes"
		if e.Low {
			side = "low"
		}
		if !e.Agree() {
			agree = "NO"
		}
		row.printf("%s\t%g\t%g\t%g %%\t%s\t%s\t%s\t%s\n", side, e.DPM, e.Shape, 100*e.Odd, rateText(e.Rare), rateText(e.Check), rateText(e.Plain), agree)
	}
}

func rateText(r proof.Rate) string {
	return fmt.Sprintf("%.3g (%.3g to %.3g)", r.PerYear, r.Low95, r.High95)
}
