package compare

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"
)

//go:embed report.html
var reportText string

// WriteHTML writes a comparison as one page that needs no other file, no script
// and no network.
func WriteHTML(w io.Writer, r Result) error {
	page, err := template.New("report").Funcs(template.FuncMap{
		"span": spanText, "shift": shiftText, "percent": func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) },
		"hundredth": func(v *float64) string { return fmt.Sprintf("%.2f", *v) },
		"side": func(name string, l Load) any {
			return struct {
				Side string
				Load Load
			}{name, l}
		},
		"priority": func(p string) string { return "p-" + p },
	}).Parse(reportText)
	if err != nil {
		return fmt.Errorf("the report's template: %w", err)
	}
	charts, err := chartsOf(r)
	if err != nil {
		return fmt.Errorf("draw the charts: %w", err)
	}
	every := everyAlarm(r)
	return page.Execute(w, struct {
		Result
		Charts   []chart
		Timeline template.HTML
		Every    []listed
		More     int
	}{r, charts, timeline(r), every[:min(len(every), mostListed)], max(0, len(every)-mostListed)})
}

// listed is an alarm with what it is of.
type listed struct {
	Gland, Condition string
	Alarm
}

// mostListed are listed on the page: what a browser still scrolls.
const mostListed = 2000

func everyAlarm(r Result) []listed {
	var list []listed
	for _, l := range r.Lines {
		for _, a := range l.Alarms {
			list = append(list, listed{l.Gland, l.Condition, a})
		}
	}
	return list
}

// chart is a picture with its words.
type chart struct {
	Title, Note string
	SVG         template.HTML
}

func spanText(s float64) string {
	d := time.Duration(s * float64(time.Second))
	if d < time.Minute {
		return fmt.Sprintf("%.3g s", d.Seconds())
	}
	text := d.Round(time.Second).String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	return text
}

func shiftText(s float64) string {
	switch {
	case math.Abs(s) < 0.0005:
		return "same time"
	case s < 0:
		return spanText(-s) + " earlier"
	default:
		return spanText(s) + " later"
	}
}
