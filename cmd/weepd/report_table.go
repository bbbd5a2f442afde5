package main

import (
	"fmt"
	"io"
	"time"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules"
)

// tableReport prints a row a transition as it comes, then a summary of each
// gland.
type tableReport struct {
	out   *printer
	width int // of the gland column
	rows  int
}

func newTableReport(out io.Writer, cfg *config.Config) *tableReport {
	width := len("GLAND")
	for _, g := range cfg.Glands {
		width = max(width, len(g.ID))
	}
	return &tableReport{out: &printer{w: out}, width: width}
}

func (r *tableReport) line(at, gland, condition, state, priority, dpm, rise, message string) {
	r.out.printf("%-24s  %-*s  %-11s  %-7s  %-8s  %7s  %7s  %s\n",
		at, r.width, gland, condition, state, priority, dpm, rise, message)
}

func (r *tableReport) transition(t rules.Transition) error {
	if r.rows == 0 {
		r.line("TIME (UTC)", "GLAND", "CONDITION", "STATE", "PRIORITY", "DPM", "RISE °C", "MESSAGE")
	}
	r.rows++
	r.line(instant(t.At), t.Gland, t.Condition.String(), stateOf(t), t.Priority.String(),
		tenth(t.Weep.DPM, t.Weep.Known), tenth(t.Rise.Value, t.Rise.Known), t.Message)
	return r.out.err
}

func tenth(v float64, ok bool) string {
	if known(v, ok) == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", v)
}

func (r *tableReport) end(tally *agent.ReplayTally) error {
	if r.rows == 0 {
		r.out.printf("No condition was raised.\n")
	}
	r.out.printf("\n")
	glands := tally.Glands()
	r.out.table(func(row *printer) {
		row.printf("GLAND\tROWS\tFROM (UTC)\tTO (UTC)\tWATCHED\tTURNING\tDROPS\tMEAN DPM, TURNING\tLITRES\n")
		for _, g := range glands {
			summarise(row, g)
		}
	})
	if r.rows > 0 {
		r.out.printf("\n")
		r.out.table(func(row *printer) { listAlarms(row, glands) })
	}
	return r.out.err
}

func summarise(row *printer, g agent.GlandTally) {
	if g.Rows == 0 {
		row.printf("%s\t0\t-\t-\t-\t-\t-\t-\t-\n", g.ID)
		return
	}
	drops, mean := "-", "-"
	if g.DripRows > 0 {
		drops = fmt.Sprintf("%.0f", g.Drops)
	}
	if dpm, ok := g.TurningDPM(); ok {
		mean = fmt.Sprintf("%.1f", dpm)
	}
	litres := "-"
	if l, ok := g.Litres(); ok {
		litres = fmt.Sprintf("%.1f", l)
	}
	row.printf("%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", g.ID, g.Rows, instant(g.First), instant(g.Last),
		seconds(g.Watched), seconds(g.Turning), drops, mean, litres)
}

func listAlarms(row *printer, glands []agent.GlandTally) {
	row.printf("GLAND\tCONDITION\tTIMES\tTIME IN ALARM\tAT THE END\n")
	for _, g := range glands {
		for c := range rules.Conditions {
			a := g.Alarms[c]
			if a.Times == 0 {
				continue
			}
			end := "cleared"
			if a.Active {
				end = "still active"
			}
			row.printf("%s\t%s\t%d\t%s\t%s\n", g.ID, c, a.Times, seconds(a.Total), end)
		}
	}
}

func seconds(d time.Duration) string { return d.Round(time.Second).String() }
