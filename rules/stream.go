package rules

import "time"

// stream tells drops that have merged into a jet, which a counter sees as few,
// from a gland that has run dry.
type stream struct {
	burst   bool
	burstAt time.Duration
	hint    bool // a few drops came as fast
	hintAt  time.Duration
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
	if low && !s.wasLow && g.fastLately(at) {
		s.merged, s.hasRise = true, false
	}
	s.merged = s.merged && low && !g.heatedSinceMerging()
	s.wasLow = low
	switch {
	case gush && g.fastLately(at), g.jetFormed(at):
		s.suspect = true
	case low && !s.merged, !low && s.suspect && g.dripsAgain(at):
		s.suspect = false
	}
	if gush || s.merged || g.keptCool() {
		s.until = at + flushTime
	}
}

// fastLately reports a burst, or a hint of one in a gland that cools.
func (g *gland) fastLately(at time.Duration) bool {
	s := &g.stream
	return s.burst && at-s.burstAt < streamMemory || s.hint && at-s.hintAt < streamMemory && g.falling(at)
}

// jetFormed reports a hint of a burst and a gland flushed cool since, whatever
// the count says.
func (g *gland) jetFormed(at time.Duration) bool {
	return g.stream.hint && at-g.stream.hintAt < hintMemory && g.falling(at) && g.flushed()
}

// keptCool reports a stream that still cools the gland.
func (g *gland) keptCool() bool {
	return g.alarms[Gushing].active && g.flushed() && g.rise.Slope() < stillSlope
}

const (
	// hintDrops within hintSpan, as fast as a burst but fewer: a jet that forms
	// within seconds. Alone it proves nothing (a Poisson drip of 30 a minute shows
	// it about once a day), with a gland that cools it does.
	hintDrops  = 8
	hintSpan   = 2 * time.Second
	hintMemory = 10 * time.Minute
	// fallingSlope, °C a minute, is a gland that cools as only a flush does: ten
	// times what the noise of a 1/16 °C sensor makes of the slope. A stop cools as
	// well; the hint tells them apart. No source.
	fallingSlope = -0.2
	stillSlope   = 0.05
)

// falling reports a gland that cools by itself: warmed up, with the reference
// steady.
func (g *gland) falling(at time.Duration) bool {
	_, ok := g.rise.Judged()
	return ok && g.rise.Steady() && g.rise.Slope() < fallingSlope && g.shaft.settled(at)
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
	return g.dripsWell(at)
}

// calm is how long after a burst the count is looked at again: its minute must
// lie well past it.
const calm = 2 * time.Minute
