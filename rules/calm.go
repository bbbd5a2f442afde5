package rules

import (
	"time"

	"weepd/rules/reading"
)

// Calm reports that nothing is in the air at any gland: no alarm stands or is on its
// way but those of the upkeep, which are judged by the hour, no gland is run in, all
// sensors are believed, and neither weep nor heat is half way to anything. Then a
// shell may be patient and bring what happened within a second together, each
// reading with its own time: what an ordinary second brings changes nothing, and what
// an extraordinary one brings is known a second later at the most. It holds until a
// time at which the passing of time alone may change something.
func (s *Station) Calm() (until time.Duration, calm bool) {
	until = never
	for _, g := range s.glands {
		if !g.calm(s.now) {
			return 0, false
		}
		until = min(until, g.awaits(s.now))
	}
	return until, s.begun
}

func (g *gland) calm(at time.Duration) bool {
	_, guided := g.care.guide.next()
	drips := g.drip.easy() || !g.drip.seen && !g.cfg.Fitted[reading.Drip]
	return drips && g.shaft.begun && g.care.meter.begun && !g.early && !guided && !g.runIn.active(at) && g.quietAlarms() &&
		g.stream.easy(at) && g.detect.Calm() && g.rise.Calm(g.cfg.Limits.RiseC)
}

// near is within what a deadline of an easy gland is looked at again: it may have
// moved away since.
const near = 5 * time.Second

// awaits is when a gland wants waking if nothing comes before.
func (g *gland) awaits(at time.Duration) time.Duration {
	if !g.easy {
		return g.due
	}
	if due := g.laterByDrops(); due > at+near {
		return due
	}
	return g.deadline()
}
