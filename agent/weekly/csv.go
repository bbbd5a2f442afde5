package weekly

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

var columns = []string{
	"week", "from", "until", "gland", "name", "in_band_h", "at_rest_h", "dry_h", "leaking_h", "gushing_h", "not_watched_h",
	"mean_dpm", "most_rise_c", "litres_low", "litres_high", "litres_at_least", "cost_low", "cost_high", "currency",
	"alarms", "work", "urgency", "to_do",
}

// CSV writes one line a gland (RFC 4180). What is not known is empty. urgency
// is the place of the gland's most urgent task in the report's list.
func (r *Report) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(columns); err != nil {
		return err
	}
	for _, g := range r.Glands {
		if err := out.Write(r.line(g)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func (r *Report) line(g Gland) []string {
	urgency, todo := r.todo(g.ID)
	when := func(g bool, v string) string {
		if g {
			return v
		}
		return ""
	}
	return []string{
		r.Week.String(), stamp(r.Week.From), stamp(r.Until), g.ID, plain(g.Name),
		when(g.Drip, inHours(g.Time.Band)), when(g.Drip, inHours(g.Time.Rest)), when(g.Drip, inHours(g.Time.Dry)),
		when(g.Drip, inHours(g.Time.Leaking)), when(g.Drip, inHours(g.Time.Gushing)), when(g.Drip, inHours(g.Time.Unwatched)),
		when(g.MeanDPM > 0, decimal(g.MeanDPM)), when(g.MostRise != 0, decimal(g.MostRise)),
		when(g.Drip, decimal(g.Litres.Low)), when(g.Drip, decimal(g.Litres.High)), when(g.Drip, strconv.FormatBool(g.AtLeast)),
		when(g.Drip && r.Price > 0, decimal(g.Cost.Low)), when(g.Drip && r.Price > 0, decimal(g.Cost.High)), when(r.Price > 0, plain(r.Unit)),
		plain(alarmWords(g.Alarms)), plain(r.workWords(g.Work)), urgency, plain(todo),
	}
}

func (r *Report) todo(gland string) (urgency, words string) {
	var all []string
	for i, t := range r.Tasks {
		if t.Gland != gland {
			continue
		}
		if urgency == "" {
			urgency = strconv.Itoa(i + 1)
		}
		all = append(all, fmt.Sprintf("%s: %s (%s)", t.When, t.What, t.Why))
	}
	return urgency, strings.Join(all, "; ")
}

func alarmWords(alarms []Alarm) string {
	var all []string
	for _, a := range alarms {
		words := fmt.Sprintf("%s %d times, active %s h", a.Condition, a.Count, inHours(a.Active))
		if a.AtEnd {
			words += ", active at the end"
		}
		all = append(all, words)
	}
	return strings.Join(all, "; ")
}

func (r *Report) workWords(work []Work) string {
	var all []string
	for _, w := range work {
		all = append(all, strings.Join(strings.Fields(fmt.Sprintf("%s %s %s %s", stamp(w.Time.In(r.Week.From.Location())), w.Kind, w.By, w.Words)), " "))
	}
	return strings.Join(all, "; ")
}

func stamp(t time.Time) string { return t.Format(time.RFC3339) }

func inHours(d time.Duration) string { return decimal(d.Hours()) }

func decimal(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }

// plain keeps a spreadsheet from taking somebody's text for a formula, and has
// plain spaces.
func plain(s string) string {
	s = strings.ReplaceAll(s, "\u00a0", " ")
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}
