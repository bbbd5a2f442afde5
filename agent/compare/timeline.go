package compare

import (
	"fmt"
	"html"
	"html/template"
	"strings"
	"time"
)

const (
	rowHeight = 30
	labelWide = 190
	leastWide = 2.5 // of a short alarm, so that it is seen
	topSpace  = 26
)

// timeline draws each condition's alarms over time, the old configuration above
// the new.
func timeline(r Result) template.HTML {
	if len(r.Lines) == 0 || r.To <= r.From {
		return ""
	}
	height := topSpace + rowHeight*len(r.Lines) + 4
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img" aria-label="Alarms over time">`, chartWidth, height)
	x := func(at Instant) float64 {
		return labelWide + float64(chartWidth-labelWide-8)*float64(at-r.From)/float64(r.To-r.From)
	}
	ticks(&b, r, x, height)
	for i, l := range r.Lines {
		y := topSpace + rowHeight*i
		fmt.Fprintf(&b, `<text x="0" y="%d" font-size="13" fill="#2f3b47">%s</text>`, y+17, html.EscapeString(l.Gland+" "+l.Condition))
		fmt.Fprintf(&b, `<line x1="%d" x2="%d" y1="%d" y2="%d" stroke="#e2e6ea"/>`, 0, chartWidth, y+rowHeight-3, y+rowHeight-3)
		var upTo [2]float64
		for _, a := range l.Alarms {
			upTo[0] = bar(&b, a.Old, x, y+3, upTo[0], inkOld, "old")
			upTo[1] = bar(&b, a.New, x, y+14, upTo[1], inkNew, "new")
		}
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // made of numbers and escaped text
}

// bar draws an alarm, unless it would lie under the one before it, which ends at
// upTo; it gives where the drawn ones end.
func bar(b *strings.Builder, l *Life, x func(Instant) float64, y int, upTo float64, ink, whose string) float64 {
	if l == nil {
		return upTo
	}
	from := x(l.From)
	to := max(from+leastWide, x(l.To))
	if to <= upTo+0.5 {
		return upTo
	}
	fmt.Fprintf(b, `<rect x="%.1f" y="%d" width="%.1f" height="9" fill="%s"><title>%s: %s, for %s</title></rect>`,
		from, y, to-from, ink, whose, l.From, spanText(l.Seconds()))
	return to
}

// ticks marks about six round moments.
func ticks(b *strings.Builder, r Result, x func(Instant) float64, height int) {
	step := tickStep(time.Duration(r.To - r.From))
	layout := "2006-01-02"
	if step < day {
		layout = "01-02 15:04"
	}
	first := (time.Duration(r.From)/step + 1) * step
	for at := first; at <= time.Duration(r.To); at += step {
		tx := x(Instant(at))
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%d" y2="%d" stroke="#e2e6ea"/>`, tx, tx, topSpace-4, height)
		if tx < chartWidth-30 {
			fmt.Fprintf(b, `<text x="%.1f" y="14" font-size="12" fill="#5a6570" text-anchor="middle">%s</text>`, tx, Instant(at).Time().Format(layout))
		}
	}
}

func tickStep(span time.Duration) time.Duration {
	steps := []time.Duration{
		time.Minute, 2 * time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute,
		time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour, day, 2 * day, week, 2 * week, 4 * week, 8 * week, 26 * week,
	}
	for _, step := range steps {
		if span/step <= 7 {
			return step
		}
	}
	return 52 * week
}
