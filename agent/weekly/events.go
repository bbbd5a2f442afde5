package weekly

import (
	"context"
	"slices"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// eventPart is how many events are read at a time.
const eventPart = 5000

// lives follows alarms through the journal, from its beginning: what is active
// when a week begins is told by what came before it.
type lives struct {
	from, until time.Time
	byKey       map[[2]string]*life
	down        []Span
}

// life is one alarm's. It is active by itself or as a member of a shared cause.
type life struct {
	by    map[[2]string]bool // the alarms by which it is
	since time.Time
	Alarm
}

func readEvents(ctx context.Context, past Past, q Request, until time.Time) (*lives, error) {
	l := &lives{from: q.Week.From, until: until, byKey: make(map[[2]string]*life)}
	for after := uint64(0); ; {
		events, err := past.Events(ctx, after, eventPart)
		if err != nil {
			return nil, err
		}
		for _, e := range events {
			after = e.Seq
			l.feed(e)
		}
		if len(events) < eventPart {
			break
		}
	}
	for _, one := range l.byKey {
		one.AtEnd = len(one.by) > 0
		l.end(one, until)
	}
	return l, nil
}

// feed takes an event in. Its time may lie before that of the one before it,
// where the clock was set.
func (l *lives) feed(e agent.Event) {
	if !e.Time.Before(l.until) {
		return
	}
	switch e.Kind {
	case agent.EventDown:
		l.feedDown(e)
	case agent.EventAlarm:
		l.feedAlarm(e)
	}
}

// feedAlarm takes a change of an alarm in. A shared cause stands for its
// members, which have no events of their own meanwhile.
func (l *lives) feedAlarm(e agent.Event) {
	key := [2]string{e.Gland, e.Condition}
	stands := map[[2]string]bool{}
	if e.State == agent.StateActive {
		stands[key] = true
		for _, name := range e.Members {
			gland, condition, _ := strings.Cut(name, "/")
			stands[[2]string{gland, condition}] = true
		}
	}
	for at, one := range l.byKey {
		if one.by[key] && !stands[at] {
			l.lower(one, key, e.Time)
		}
	}
	for at := range stands {
		l.raise(at, key, e.Time)
	}
}

func (l *lives) raise(at, by [2]string, when time.Time) {
	one := l.byKey[at]
	if one == nil {
		one = &life{by: make(map[[2]string]bool), Alarm: Alarm{Condition: at[1]}}
		l.byKey[at] = one
	}
	if len(one.by) == 0 {
		one.since = when
		if !when.Before(l.from) {
			one.Count++
		}
	}
	one.by[by] = true
}

func (l *lives) lower(one *life, by [2]string, when time.Time) {
	if len(one.by) == 1 {
		l.end(one, when)
	}
	delete(one.by, by)
}

// end adds what an active alarm had of the week until a moment.
func (l *lives) end(one *life, at time.Time) {
	if len(one.by) == 0 {
		return
	}
	from := one.since
	if from.Before(l.from) {
		from = l.from
	}
	if part := at.Sub(from); part > 0 {
		one.Active += part
	}
}

func (l *lives) feedDown(e agent.Event) {
	if e.From == nil || e.To == nil {
		return
	}
	span := Span{*e.From, *e.To}
	if span.From.Before(l.from) {
		span.From = l.from
	}
	if span.To.After(l.until) {
		span.To = l.until
	}
	if span.From.Before(span.To) {
		l.down = append(l.down, span)
	}
}

// alarms gives those of a gland that were active in the week, most urgent
// first.
func (l *lives) alarms(id string) []Alarm {
	var out []Alarm
	for key, one := range l.byKey {
		if key[0] == id && (one.Count > 0 || one.Active > 0) {
			out = append(out, one.Alarm)
		}
	}
	slices.SortFunc(out, func(a, b Alarm) int {
		if by := urgency(a.Condition) - urgency(b.Condition); by != 0 {
			return by
		}
		return strings.Compare(a.Condition, b.Condition)
	})
	return out
}

// urgency orders conditions as the rules do; one that they do not know comes
// last.
func urgency(condition string) int {
	if c, known := rules.ParseCondition(condition); known {
		return int(c)
	}
	return int(rules.Conditions)
}
