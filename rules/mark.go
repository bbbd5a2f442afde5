package rules

import (
	"math"
	"time"

	"weepd/rules/reading"
)

// mark takes what a recording says of a gland beside readings, at the station's
// time. A watch that goes on has said all by its time.
func (s *Station) mark(g *gland, r reading.Reading) {
	switch {
	case !r.Quality.OK():
	case r.Point.Kind == reading.Repacked:
		s.runIn(g, s.now-RepackedAgo(r.Value))
	case r.Value == 1:
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
	*g = *fresh
	s.schedule(g)
}
