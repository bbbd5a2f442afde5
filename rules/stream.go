package rules

import "time"

// stream tells drops that have merged into a jet, which a counter sees as few,
// from a gland that has run dry.
type stream struct {
	burst   bool
	burstAt time.Duration
	merged  bool
	suspect bool // gushed, and not yet seen to drip as it should
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
	switch {
	case gush && s.burst && at-s.burstAt < streamMemory:
		s.suspect = true
	case s.suspect && (low && !s.merged || !low && g.dripsAgain(at)):
		s.suspect = false
	}
	if gush || s.merged {
		s.until = at + flushTime
	}
}

// dripsAgain reports a weep that is surely more than the least: a stream that
// breaks up now and then reads as less.
func (g *gland) dripsAgain(at time.Duration) bool {
	if at-g.stream.burstAt < window {
		return false
	}
	w := g.weep(at)
	return w.Known && w.LowDPM > g.cfg.Limits.DryDPM
}

// window is how long after a burst the count is looked at again.
const window = time.Minute
