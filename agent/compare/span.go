package compare

import (
	"cmp"
	"slices"
	"time"

	"weepd/rules"
)

// Key is a condition of a gland.
type Key struct {
	Gland     string
	Condition rules.Condition
}

// Span is one alarm from its raise to its end. Times are steady time, as in
// rules.Transition.
type Span struct {
	From, To time.Duration
	Open     bool // it was still active when the recording ended
}

// Spans collects the alarms of one replay.
type Spans struct {
	byKey map[Key][]Span
}

// Transition takes the next transition, in order of time.
func (s *Spans) Transition(t rules.Transition) {
	if s.byKey == nil {
		s.byKey = make(map[Key][]Span)
	}
	key := Key{t.Gland, t.Condition}
	list := s.byKey[key]
	open := len(list) > 0 && list[len(list)-1].Open
	switch {
	case t.Active && !open:
		s.byKey[key] = append(list, Span{From: t.At, To: t.At, Open: true})
	case !t.Active && open:
		list[len(list)-1].To, list[len(list)-1].Open = t.At, false
	}
}

// End says when the recording ended: what is active stays so up to then.
func (s *Spans) End(at time.Duration) {
	for _, list := range s.byKey {
		if last := &list[len(list)-1]; last.Open {
			last.To = max(last.From, at)
		}
	}
}

// Of gives the alarms of a condition of a gland, in order of time.
func (s *Spans) Of(k Key) []Span { return s.byKey[k] }

// raise is the beginning of an alarm.
type raise struct {
	at  time.Duration
	key Key
}

// raises gives the beginnings of all alarms in order of time.
func (s *Spans) raises() []raise {
	var list []raise
	for key, spans := range s.byKey {
		for _, span := range spans {
			list = append(list, raise{span.From, key})
		}
	}
	slices.SortFunc(list, func(a, b raise) int {
		return cmp.Or(cmp.Compare(a.at, b.at), compareKeys(a.key, b.key))
	})
	return list
}

func compareKeys(a, b Key) int {
	return cmp.Or(cmp.Compare(a.Gland, b.Gland), cmp.Compare(a.Condition, b.Condition))
}
