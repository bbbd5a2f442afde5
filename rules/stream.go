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
	riseC   float64 // the least since they merged, °C
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
	recent := s.burst && at-s.burstAt < streamMemory
	if low && !s.wasLow && recent {
		s.merged, s.hasRise = true, false
	}
	s.merged = s.merged && low && !g.heatedSinceMerging()
	s.wasLow = low
	switch {
	case gush && recent:
		s.suspect = true
	case low && !s.merged, !low && s.suspect && g.dripsAgain(at):
		s.suspect = false
	}
	if gush || s.merged {
		s.until = at + flushTime
	}
}

// heatedSinceMerging reports a rise over the coolest since drops merged.
func (g *gland) heatedSinceMerging() bool {
	s := &g.stream
	rise, ok := g.rise.Judged()
	if !ok {
		return false
	}
	if !s.hasRise || rise < s.riseC {
		s.riseC, s.hasRise = rise, true
	}
	return rise > s.riseC+streamHeatC
}

// dripsAgain reports a weep that is surely more than the least: a stream that
// breaks up now and then reads as less.
func (g *gland) dripsAgain(at time.Duration) bool {
	if at-g.stream.burstAt < calm {
		return false
	}
	w := g.weep(at)
	return w.Known && w.LowDPM > g.cfg.Limits.DryDPM
}

// calm is how long after a burst the count is looked at again: its minute must
// lie well past it.
const calm = 2 * time.Minute
