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
		until = min(until, g.awaits())
	}
	return until, s.begun
}

func (g *gland) calm(at time.Duration) bool {
	_, guided := g.care.guide.next()
	drips := g.drip.easy() || !g.drip.seen && !g.cfg.Fitted[reading.Drip]
	return drips && g.shaft.begun && g.care.meter.begun && !g.early && !guided && !g.runIn.active(at) && g.quietAlarms() &&
		g.stream.easy(at) && g.detect.Calm() && g.rise.Calm(g.cfg.Limits.RiseC)
}

// awaits is when a calm gland may have something to say if nothing comes before. The
// upkeep's hours are left out: nobody waits for them by the second.
func (g *gland) awaits() time.Duration {
	at := never
	for _, due := range [...]func() (time.Duration, bool){
		g.detect.Deadline, g.rise.Metal.Deadline, g.rise.Reference.Deadline, g.coldDeadline, g.care.unproven.next,
	} {
		if one, waits := due(); waits {
			at = min(at, one)
		}
	}
	return at
}
