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
}

// judgeStream looks at the moment at which the weep seems to have become too
// little: right after a burst it has become too much to count. Heat takes that
// back.
func (g *gland) judgeStream(at time.Duration) {
	s := &g.stream
	low, _, _ := g.detect.Out()
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
}
