package rules

import (
	"math"
	"time"

	"weepd/rules/reading"
	"weepd/rules/upkeep"
)

// mark takes what a recording says of a gland beside readings, at the station's
// time. A watch that goes on has said all by its time.
func (s *Station) mark(g *gland, kind reading.Kind, value float64, q reading.Quality) {
	g.easy = false
	switch {
	case !q.OK():
	case kind == reading.Repacked:
		at := s.now - RepackedAgo(value)
		s.runIn(g, at)
		if before, known := g.care.life.Repacked(); !known || (at-before).Abs() > time.Minute { // each start says it again
			s.record(g, upkeep.Entry{At: at, Kind: upkeep.Repacked})
		}
	case kind == reading.Adjusted:
		s.record(g, upkeep.Entry{At: s.now, Kind: upkeep.Adjusted, Value: upkeep.Value{Flats: value}})
	case value == 1:
		s.forget(g)
	}
}

// RepackedAgo is how long before a mark of reading.Repacked the gland was
// repacked; value is in seconds and counts to the millisecond.
func RepackedAgo(value float64) time.Duration {
	return time.Duration(math.Round(value*1000)) * time.Millisecond
}

// forget makes a gland as it is at the start of an agent.
func (s *Station) forget(g *gland) {
	fresh := newGland(g.cfg, g.order, s.models)
	fresh.place, fresh.due = g.place, g.due
	fresh.care.life = g.care.life // an agent that starts has it from its store
	fresh.carryOver(g, s.now)
	*g = *fresh
	s.schedule(g)
}
