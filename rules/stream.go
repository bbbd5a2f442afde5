package rules

import "time"

// stream tells drops that have merged into a jet, which a counter sees as few,
// from a gland that has run dry.
type stream struct {
	burst   bool
	burstAt time.Duration
	merged  bool
	wasLow  bool
	riseC   float64 // when they merged, °C
	hasRise bool
	until   time.Duration // a gland still flushed cool is taken to gush until then
}

// flushTime is how long a gland that is still flushed cool is taken to gush
// after the count has come back: several times the minutes that its metal needs.
const flushTime = 20 * time.Minute

// judgeStream looks at the moment at which the weep seems to have become too
// little: right after a burst it has become too much to count. Heat takes that
// back.
func (g *gland) judgeStream(at time.Duration) {
	s := &g.stream
	low, _, gush := g.detect.Out()
	rise, ok := g.rise.Judged()
	switch {
	case low && !s.wasLow && s.burst && at-s.burstAt < streamMemory:
		s.merged, s.riseC, s.hasRise = true, rise, ok
	case !low:
		s.merged = false
	case s.merged && ok && s.hasRise && rise > s.riseC+streamHeatC:
		s.merged = false
	}
	if s.merged && ok && (!s.hasRise || rise < s.riseC) {
		s.riseC, s.hasRise = rise, true
	}
	s.wasLow = low
	if gush || s.merged {
		s.until = at + flushTime
	}
}
