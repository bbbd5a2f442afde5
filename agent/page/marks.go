package page

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"weepd/agent"
)

// mark is something that happened, on the charts and in words below them.
type mark struct {
	From, To time.Time
	Point    bool   // work: a moment
	Class    string // high, medium or low; rest
	Letter   string // names it on the chart
	Text     string // in words
	When     string
}

// marksOf makes marks of a gland's events, newest first, and of its alarms that
// were there before them.
func (s *Server) marksOf(events []agent.Event, work []entry, st *station, g row, w window) []mark {
	type open struct {
		from   time.Time
		active bool
	}
	var list []mark
	now := make(map[string]*open)
	span := func(condition, priority string, from, to time.Time) {
		list = append(list, mark{From: from, To: to, Class: priority, Text: s.texts.orElse("condition.", condition)})
	}
	for i := len(events) - 1; i >= 0; i-- { // oldest first
		e := events[i]
		if e.Kind != agent.EventAlarm {
			continue
		}
		one, known := now[e.Condition]
		if !known {
			one = &open{from: w.From, active: e.State == agent.StateCleared && e.By == "" && e.Was != "normal"}
			now[e.Condition] = one
		}
		active := e.State == agent.StateActive
		switch {
		case active && !one.active:
			*one = open{e.Time, true}
			if !known && e.By != "" { // it was active before
				one.from = w.From
			}
		case !active && one.active:
			span(e.Condition, e.Priority, one.from, e.Time)
			one.active = false
		}
	}
	for _, a := range st.latest.Alarms {
		if a.Gland != g.ID || !a.Active() || a.Since == nil || a.Since.After(w.To) {
			continue
		}
		span(a.Condition, a.Priority, *a.Since, st.now)
	}
	list = append(list, workMarks(work)...)
	return named(list, st, w)
}

func workMarks(entries []entry) (list []mark) {
	for _, e := range entries {
		if !e.Void {
			list = append(list, mark{From: e.Time, To: e.Time, Point: true, Text: e.Text + " · " + e.By})
		}
	}
	return list
}

// named leaves out what is not in the window, and gives letters in order of time.
func named(list []mark, st *station, w window) []mark {
	list = slices.DeleteFunc(list, func(m mark) bool { return m.To.Before(w.From) || m.From.After(w.To) })
	slices.SortStableFunc(list, func(a, b mark) int {
		return cmp.Or(a.From.Compare(b.From), cmp.Compare(urgency(a.Class), urgency(b.Class)))
	})
	list = list[max(len(list)-marksMost, 0):]
	for i := range list {
		list[i].Letter = letter(i)
		list[i].When = when(list[i].From, st.now)
		if !list[i].Point {
			list[i].When += "–" + when(list[i].To, st.now)
		}
	}
	return list
}

// marksMost is how many marks a chart can carry; older ones are left out.
const marksMost = 26

func letter(i int) string {
	if i < marksMost {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i)
}

// restMarks are the stretches in which the shaft was at rest.
func restMarks(rest course, w window) (list []mark) {
	for i, v := range rest.mean {
		if math.IsNaN(v) {
			continue
		}
		from := w.From.Add(time.Duration(i) * w.Step)
		if n := len(list); n > 0 && list[n-1].To.Equal(from) {
			list[n-1].To = from.Add(w.Step)
			continue
		}
		list = append(list, mark{From: from, To: from.Add(w.Step), Class: "rest"})
	}
	return list
}
