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
	"weepd/rules/alarm"
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
	Store   agent.Trouble
	Alarms  []alarmRow // on the operator's list
	Aside   []alarmRow // set aside by people or logic
	Glands  []glandRow
}

type alarmRow struct {
	agent.Alarm
	Name  string
	Where string // where it stands in its life, and by whom
	// What to do, in order, and the cautions that come before.
	Steps, Cautions []string
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
	v := view{Station: latest.Station, Store: latest.Store, Version: s.parts.Version, Time: latest.Time, Alive: s.parts.Alive()}
	names := make(map[string]string, len(latest.Glands))
	active := make(map[string][]agent.Alarm)
	for _, g := range latest.Glands {
		names[g.Rules.ID] = g.Name
	}
	for _, a := range latest.Alarms {
		if a.Active() {
			active[a.Gland] = append(active[a.Gland], a)
		}
		steps, cautions := s.next(a.Condition)
		v.list(alarmRow{Alarm: a, Name: names[a.Gland], Where: where(a), Steps: steps, Cautions: cautions})
	}
	for _, g := range latest.Glands {
		v.Glands = append(v.Glands, newGlandRow(latest, g, active[g.Rules.ID]))
	}
	slices.SortStableFunc(v.Alarms, func(a, b alarmRow) int { return cmp.Compare(waiting(b), waiting(a)) })
	slices.SortStableFunc(v.Alarms, func(a, b alarmRow) int { return cmp.Compare(urgency(a.Priority), urgency(b.Priority)) })
	slices.SortStableFunc(v.Glands, func(a, b glandRow) int { return cmp.Compare(urgency(a.Level), urgency(b.Level)) })
	return v
}

// list puts an alarm where it belongs on the page. One that a shared cause
// stands for is shown there.
func (v *view) list(row alarmRow) {
	a := row.Alarm
	if row.Name == "" {
		row.Name = a.Gland
	}
	switch life := a.Life(); {
	case life.SetAside():
		v.Aside = append(v.Aside, row)
	case life.Annunciated() || a.Active() && a.Cause == "":
		v.Alarms = append(v.Alarms, row)
		if a.Priority == rules.High.String() && a.Active() {
			v.High++
		}
	}
}

// waiting is 1 for an alarm that nobody has acknowledged.
func waiting(a alarmRow) int {
	switch a.Life() {
	case alarm.Unacknowledged, alarm.ReturnedUnacknowledged, alarm.LatchedUnacknowledged:
		return 1
	default:
		return 0
	}
}

// where says where an alarm stands in its life, for an operator.
func where(a agent.Alarm) string {
	var text string
	switch a.Life() {
	case alarm.Unacknowledged:
		text = "not acknowledged"
	case alarm.Acknowledged:
		text = "acknowledged"
	case alarm.ReturnedUnacknowledged:
		text = "gone again, not acknowledged"
	case alarm.LatchedUnacknowledged:
		text = "gone again, latched: acknowledge, then reset"
	case alarm.LatchedAcknowledged:
		text = "gone again, latched: reset it"
	case alarm.Shelved:
		text = "shelved"
	case alarm.Suppressed:
		text = "suppressed"
	case alarm.OutOfService:
		text = "out of service"
	default:
		return ""
	}
	if a.Until != nil {
		text += " until " + a.Until.UTC().Format("2006-01-02 15:04 UTC")
	}
	if a.By != "" {
		text += " by " + a.By
	}
	return text
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
