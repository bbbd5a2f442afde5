package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
)

// answered reports whether every point has said what it has to say. A sensor
// that does not answer may be about to.
func answered(rows []agent.PointRow) bool {
	for _, r := range rows {
		if !r.Seen || r.Reading.Quality == reading.NoAnswer {
			return false
		}
	}
	return true
}

const lookEvery = 50 * time.Millisecond

// printOnce waits for all points up to p.within and prints one table.
func (p *points) printOnce(ctx context.Context, station string, watch *agent.Points) error {
	began := time.Now()
	for !answered(watch.Rows()) && time.Since(began) < p.within {
		if !pause(ctx, lookEvery) {
			return nil
		}
	}
	rows := watch.Rows()
	out := &printer{w: p.out}
	out.printf("%s", pointTable(station, time.Since(began), rows))
	bad := 0
	for _, r := range rows {
		if !r.Seen || !r.Reading.Quality.OK() {
			bad++
		}
	}
	if out.err == nil && bad > 0 {
		return fmt.Errorf("%d of %d points cannot be read; the table says why", bad, len(rows))
	}
	return out.err
}

// pause reports whether the time passed before ctx ended.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

// pointTable is the table as text: a line a point, and below it why, where
// there is something to say.
func pointTable(station string, watched time.Duration, rows []agent.PointRow) string {
	var text bytes.Buffer
	table := &printer{w: &text}
	table.table(func(cell *printer) {
		cell.printf("POINT\tSOURCE\tRAW\tVALUE\tQUALITY\tAGE\n")
		for _, r := range rows {
			cell.printf("%s\t%s\t%s\t%s\t%s\t%s\n", r.Point, orDash(r.Source), orDash(r.Raw), converted(r), quality(r), age(r))
		}
	})
	lines := strings.Split(strings.TrimRight(text.String(), "\n"), "\n")
	var out strings.Builder
	fmt.Fprintf(&out, "%s, watched for %s\n%s\n", station, watched.Truncate(time.Second), lines[0])
	for i, r := range rows {
		fmt.Fprintln(&out, strings.TrimRight(lines[i+1], " "))
		if r.Cause != "" {
			fmt.Fprintf(&out, "    why: %s\n", strings.Join(strings.Fields(r.Cause), " "))
		}
	}
	return out.String()
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// converted is the value in the unit of the point.
func converted(r agent.PointRow) string {
	if r.Point.Kind == reading.Drip {
		return dropText(r)
	}
	switch {
	case !r.Seen || !r.Reading.Quality.OK():
		return "-"
	case r.Point.Kind == reading.Run && r.Reading.Value == 0:
		return "at rest"
	case r.Point.Kind == reading.Run:
		return "turning"
	}
	return fmt.Sprintf("%.2f °C", r.Reading.Value)
}

// dropText has the drops so far and the weep of the last minute.
func dropText(r agent.PointRow) string {
	if !r.Seen {
		return "-"
	}
	text := fmt.Sprintf("%d drops", r.Drops)
	if r.Known {
		text += fmt.Sprintf(", %.1f dpm (%.1f to %.1f)", r.Weep.DPM, r.Weep.LowDPM, r.Weep.HighDPM)
	}
	return text
}

func quality(r agent.PointRow) string {
	if !r.Seen {
		return "nothing yet"
	}
	return r.Reading.Quality.String()
}

func age(r agent.PointRow) string {
	switch {
	case !r.Seen:
		return "-"
	case r.Age < 10*time.Second:
		return fmt.Sprintf("%.1f s", r.Age.Seconds())
	case r.Age < 2*time.Minute:
		return fmt.Sprintf("%.0f s", r.Age.Seconds())
	}
	return fmt.Sprintf("%.0f min", r.Age.Minutes())
}
