package page

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// texts are what the template calls for words.
var texts = template.FuncMap{
	"rate":    rate,
	"celsius": celsius,
	"clock":   func(t time.Time) string { return t.UTC().Format("15:04:05") },
	"day":     func(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") },
}

// view is all that the template shows.
type view struct {
	Station string
	Version string
	Time    time.Time
	Alive   bool
	High    int
	Alarms  []alarmRow
	Glands  []glandRow
}

type alarmRow struct {
	agent.Alarm
	Name string
	Next string // what to do, with its caution
}

type glandRow struct {
	ID, Name   string
	State      string // worst alarm's word, or normal
	Level      string // high, medium, low or normal: shape, colour and order
	Reading    agent.GlandReading
	Limits     rules.Limits
	Turning    string
	Trust      string // why the readings are not good; empty when they are
	Conditions []string
}

func (s *Server) index(w http.ResponseWriter, _ *http.Request) {
	var page bytes.Buffer
	if err := s.page.Execute(&page, s.view()); err != nil {
		s.parts.Log.Error("page not made", "error", err)
		http.Error(w, "the page could not be made; see the agent's log", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	if _, err := page.WriteTo(w); err != nil {
		s.parts.Log.Debug("page not sent", "error", err)
	}
}

func (s *Server) view() view {
	latest := s.parts.Board.Latest()
	v := view{Station: latest.Station, Version: s.parts.Version, Time: latest.Time, Alive: s.parts.Alive()}
	names := make(map[string]string, len(latest.Glands))
	active := make(map[string][]agent.Alarm)
	for _, g := range latest.Glands {
		names[g.Rules.ID] = g.Name
	}
	for _, a := range latest.Alarms {
		if !a.Active() {
			continue
		}
		active[a.Gland] = append(active[a.Gland], a)
		v.Alarms = append(v.Alarms, alarmRow{a, names[a.Gland], advice(a.Condition)})
		if a.Priority == rules.High.String() {
			v.High++
		}
	}
	for _, g := range latest.Glands {
		v.Glands = append(v.Glands, newGlandRow(latest, g, active[g.Rules.ID]))
	}
	slices.SortStableFunc(v.Alarms, func(a, b alarmRow) int { return cmp.Compare(urgency(a.Priority), urgency(b.Priority)) })
	slices.SortStableFunc(v.Glands, func(a, b glandRow) int { return cmp.Compare(urgency(a.Level), urgency(b.Level)) })
	return v
}

func newGlandRow(s *agent.Snapshot, g agent.Gland, alarms []agent.Alarm) glandRow {
	row := glandRow{
		ID: g.Rules.ID, Name: g.Name, State: normal, Level: normal, Limits: g.Rules.Limits,
		Reading: agent.NewGlandReading(s.Time, g.State), Turning: turning(g.State.Running),
	}
	if !g.State.Quality.OK() {
		row.Trust = g.State.Quality.String()
	}
	for _, a := range alarms {
		row.Conditions = append(row.Conditions, a.Condition)
		if urgency(a.Priority) < urgency(row.Level) {
			row.Level, row.State = a.Priority, a.Condition
		}
	}
	return row
}

const normal = "normal"

func urgency(level string) int {
	return slices.Index([]string{rules.High.String(), rules.Medium.String(), rules.Low.String(), normal}, level)
}

func turning(q rules.Quantity) string {
	switch {
	case !q.Known:
		return "unknown"
	case q.Value != 0:
		return "turning"
	default:
		return "at rest"
	}
}

// rate writes drops per minute with no more digits than a count can carry.
func rate(v *float64) string {
	switch {
	case v == nil:
		return "–"
	case *v < 10:
		return strconv.FormatFloat(*v, 'f', 1, 64)
	default:
		return strconv.FormatFloat(math.Round(*v), 'f', 0, 64)
	}
}

func celsius(v *float64) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f", *v)
}
