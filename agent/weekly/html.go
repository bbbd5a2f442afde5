package weekly

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"weepd/rules/advice"
)

//go:embed week.html
var weekHTML string

// HTML writes the report as one file for screen and paper; it loads nothing.
func (r *Report) HTML(w io.Writer) error {
	page, err := template.New("week").Funcs(template.FuncMap{
		"hours": hours, "share": share, "amount": amount, "strip": r.strip, "rank": func(i int) int { return i + 1 },
		"when":    func(t time.Time) string { return t.In(r.Week.From.Location()).Format("Mon 2 Jan 15:04") },
		"day":     func(t time.Time) string { return t.In(r.Week.From.Location()).Format("Mon 2 Jan 2006 15:04") },
		"figure":  significant,
		"caution": advice.Standing,
	}).Parse(weekHTML)
	if err != nil {
		return err
	}
	return page.Execute(w, r)
}

// Total is the time that the report tells of.
func (r *Report) Total() time.Duration { return r.Until.Sub(r.Week.From) }

// Zone names the zone of the report's times.
func (r *Report) Zone() string {
	zone := r.Week.From.Location().String()
	if zone == "Local" {
		zone, _ = r.Week.From.Zone()
	}
	return zone
}

// DoneWork is one thing that was done, with its gland.
type DoneWork struct {
	Gland string
	Work
}

// Works lists what was done to all glands, oldest first.
func (r *Report) Works() []DoneWork {
	var all []DoneWork
	for _, g := range r.Glands {
		for _, w := range g.Work {
			all = append(all, DoneWork{g.ID, w})
		}
	}
	slices.SortStableFunc(all, func(a, b DoneWork) int { return a.Time.Compare(b.Time) })
	return all
}

// strip draws the hours of a week: a line while the weep is in the band, bars up
// for leaking and down for dry, nothing while it was not watched. Shape tells,
// not colour, so that a grey print says the same.
func (r *Report) strip(g Gland) template.HTML {
	const half = 9 // height of a whole hour
	var band, up, down, days strings.Builder
	for i, h := range g.Hours {
		if h.Band > 0 {
			fmt.Fprintf(&band, "M%d 0h1", i)
		}
		if h.Leaking > 0 {
			fmt.Fprintf(&up, "M%d 0v-%.1fh1v%.1fz", i, half*h.Leaking, half*h.Leaking)
		}
		if h.Dry > 0 {
			fmt.Fprintf(&down, "M%d 0v%.1fh1v-%.1fz", i, half*h.Dry, half*h.Dry)
		}
	}
	for day := 1; day < 7; day++ { // by date: a day may have 23 or 25 hours
		fmt.Fprintf(&days, "M%g -%dv%d", r.Week.From.AddDate(0, 0, day).Sub(r.Week.From).Hours(), half, 2*half)
	}
	// Only numbers of our own are written into it.
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 -10 %g 20" preserveAspectRatio="none" role="img" aria-label="hours of the week: in the band %s, dry %s, leaking %s">`+
		`<path class="days" d="%s"/><path class="band" d="%s"/><path class="up" d="%s"/><path class="down" d="%s"/></svg>`,
		r.Week.To.Sub(r.Week.From).Hours(), hours(g.Time.Band), hours(g.Time.Dry), hours(g.Time.Leaking),
		days.String(), band.String(), up.String(), down.String()))
}
