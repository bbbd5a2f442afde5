package page

import (
	"context"
	"time"

	"weepd/agent"
)

// cleared is an alarm whose condition went today.
type cleared struct {
	Gland, Name, Word, Priority string
	IsGland                     bool
	At, From                    string
	Lasted                      string
	By                          string // who had acknowledged it
	Message                     string
}

const clearedMost = 2000 // events of a day that are looked through

// clearedToday lists what has cleared since midnight, the newest first.
func (s *Server) clearedToday(ctx context.Context, st *station) ([]cleared, error) {
	y, m, d := st.now.Date()
	midnight := time.Date(y, m, d, 0, 0, 0, 0, st.now.Location())
	events, err := s.parts.Journal.Between(ctx, agent.Happened{From: midnight, To: st.now.Add(time.Second)}, clearedMost)
	if err != nil {
		return nil, err
	}
	type story struct {
		from   time.Time
		active bool
		by     string
	}
	stories := make(map[string]*story)
	var list []cleared
	for i := len(events) - 1; i >= 0; i-- { // oldest first
		e := events[i]
		if e.Kind != agent.EventAlarm {
			continue
		}
		key := e.Gland + "/" + e.Condition
		one, known := stories[key]
		if !known { // what was before today is not seen
			one = &story{active: true}
			stories[key] = one
		}
		switch {
		case e.State == agent.StateActive && (!one.active || !known && e.By == ""):
			*one = story{from: e.Time, active: true}
		case e.State == agent.StateCleared && one.active && e.By == "":
			list = append(list, s.clearedOf(e, st, one.from, one.by))
			one.active = false
		}
		if e.Acknowledged || e.AlarmState == "acknowledged" {
			one.by = e.By
		}
	}
	for i, j := 0, len(list)-1; i < j; i, j = i+1, j-1 {
		list[i], list[j] = list[j], list[i]
	}
	return list, nil
}

func (s *Server) clearedOf(e agent.Event, st *station, from time.Time, by string) cleared {
	c := cleared{
		Gland: e.Gland, Word: s.texts.orElse("condition.", e.Condition), Priority: e.Priority,
		At: when(e.Time, st.now), By: by, Message: e.Message,
	}
	if g, found := st.byID[e.Gland]; found {
		c.Name, c.IsGland = g.Name, true
	} else {
		c.Name = s.causeName(e.Gland)
	}
	if !from.IsZero() {
		c.From, c.Lasted = when(from, st.now), s.texts.span(e.Time.Sub(from))
	}
	return c
}
