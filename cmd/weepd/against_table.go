package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"weepd/agent/compare"
)

// printComparison prints a comparison as tables.
func printComparison(w io.Writer, r compare.Result) error {
	out := &printer{w: w}
	out.printf("old: %s\nnew: %s\n", r.OldFile, r.NewFile)
	out.printf("recorded: %s to %s, watched %s\n", r.From, r.To, spanOf(r.Watched))
	for _, a := range r.Alone {
		out.printf("note: gland %s is in %s only\n", a.Gland, a.File)
	}
	if len(r.Changes) == 0 {
		out.printf("\nNo limit or timing differs.\n")
	} else {
		out.printf("\n")
		out.table(func(row *printer) {
			row.printf("GLAND\tSETTING\tOLD\tNEW\n")
			for _, c := range r.Changes {
				row.printf("%s\t%s\t%s\t%s\n", c.Gland, c.Key, c.Old, c.New)
			}
		})
	}
	printLines(out, r)
	printDifferences(out, r)
	printWeeks(out, r)
	printLoad(out, r)
	return out.err
}

func printLines(out *printer, r compare.Result) {
	if len(r.Lines) == 0 {
		out.printf("\nNeither raises an alarm.\n")
		return
	}
	out.printf("\n")
	out.table(func(row *printer) {
		row.printf("GLAND\tCONDITION\tPRIORITY\tIN BOTH\tONLY OLD\tONLY NEW\tEARLIER\tLATER\tNEW COMES (MEDIAN)\tFROM\tTO\n")
		for _, l := range r.Lines {
			median, from, to := "-", "-", "-"
			if l.Shift != nil {
				median, from, to = shiftText(l.Shift.Median), shiftText(l.Shift.Earliest), shiftText(l.Shift.Latest)
			}
			row.printf("%s\t%s\t%s\t%d\t%d\t%d\t%d\t%d\t%s\t%s\t%s\n", l.Gland, l.Condition, l.Priority,
				l.Both, l.OnlyOld, l.OnlyNew, l.Earlier, l.Later, median, from, to)
		}
	})
	out.printf("In both: of one gland and condition, overlapping or at most %s apart.\n", spanOf(r.Within))
}

// mostDifferences are printed of a comparison; JSON and HTML have all.
const mostDifferences = 40

func printDifferences(out *printer, r compare.Result) {
	type difference struct {
		compare.Line
		compare.Alarm
	}
	var list []difference
	for _, l := range r.Lines {
		for _, a := range l.Alarms {
			if a.Shift == nil || *a.Shift != 0 {
				list = append(list, difference{l, a})
			}
		}
	}
	if len(list) == 0 {
		return
	}
	out.printf("\n")
	out.table(func(row *printer) {
		row.printf("GLAND\tCONDITION\tOLD (UTC)\tNEW (UTC)\tNEW COMES\n")
		for _, d := range list[:min(len(list), mostDifferences)] {
			how := "only old"
			switch {
			case d.Alarm.Shift != nil:
				how = shiftText(*d.Alarm.Shift)
			case d.Old == nil:
				how = "only new"
			}
			row.printf("%s\t%s\t%s\t%s\t%s\n", d.Gland, d.Condition, since(d.Old), since(d.New), how)
		}
	})
	if more := len(list) - mostDifferences; more > 0 {
		out.printf("... and %d more differences; --json and --html have them all\n", more)
	}
}

func since(l *compare.Life) string {
	if l == nil {
		return "-"
	}
	return l.From.String()
}

// shiftText says how much earlier or later.
func shiftText(s float64) string {
	switch {
	case math.Abs(s) < 0.0005:
		return "same time"
	case s < 0:
		return spanOf(-s) + " earlier"
	default:
		return spanOf(s) + " later"
	}
}

// spanOf gives seconds as a time: tenths below a minute, whole seconds above.
func spanOf(s float64) string {
	d := time.Duration(s * float64(time.Second))
	if d < time.Minute {
		return fmt.Sprintf("%.3gs", d.Seconds())
	}
	text := d.Round(time.Second).String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	return text
}

func printWeeks(out *printer, r compare.Result) {
	out.printf("\n")
	out.table(func(row *printer) {
		row.printf("WEEK FROM (%s)\tWATCHED\tALARMS OLD\tALARMS NEW\n", r.Zone)
		for _, k := range r.Weeks {
			row.printf("%s\t%.1f h\t%d\t%d\n", k.Monday, k.Hours, k.Old, k.New)
		}
		if r.OldPerWeek == nil {
			row.printf("a week\tless than one was watched\t-\t-\n")
		} else {
			row.printf("a week\t\t%.2f\t%.2f\n", *r.OldPerWeek, *r.NewPerWeek)
		}
	})
}

func printLoad(out *printer, r compare.Result) {
	before, after := r.OldLoad, r.NewLoad
	out.printf("\n")
	out.table(func(row *printer) {
		row.printf("OPERATOR'S LOAD\tOLD\tNEW\tMEASURE (IEC 62682, ISA-18.2; from memory)\n")
		row.printf("alarms\t%d\t%d\t-\n", before.Alarms, after.Alarms)
		row.printf("per 10 minutes\t%.3g\t%.3g\tabout %g acceptable, about %g manageable\n",
			before.PerPeriod, after.PerPeriod, compare.AcceptableRate, compare.ManageableRate)
		row.printf("most within 10 minutes\t%d\t%d\tmore than %d is a flood\n", before.WorstPeriod, after.WorstPeriod, compare.FloodAbove)
		row.printf("floods\t%d\t%d\tuntil fewer than %d within 10 minutes\n", before.Floods, after.Floods, compare.FloodOver)
		row.printf("time in floods\t%s\t%s\t-\n", spanOf(before.FloodSeconds), spanOf(after.FloodSeconds))
		row.printf("chattering\t%d\t%d\tan alarm %d times or more within a minute\n", len(before.Chattering), len(after.Chattering), compare.ChatterTimes)
		row.printf("standing over 24 h\t%d\t%d\tfewer than 5 on any day\n", len(before.Stale), len(after.Stale))
	})
	for _, side := range []struct {
		name string
		load compare.Load
	}{{"old", before}, {"new", after}} {
		for _, c := range side.load.Chattering {
			out.printf("chattering, %s: %s %s, %d alarms, episodes: %d\n", side.name, c.Gland, c.Condition, c.Alarms, c.Episodes)
		}
		for _, s := range side.load.Stale {
			out.printf("standing, %s: %s %s for %s from %s\n", side.name, s.Gland, s.Condition, spanOf(s.Seconds), s.From)
		}
	}
}
