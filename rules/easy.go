package rules

import (
	"time"

	"weepd/rules/reading"
)

// An easy gland has no alarm, none pending, and nothing that could make one but
// its weep leaving the band, its rise passing the limit, or a deadline. Then a
// reading that changes neither (weep.Detector.Steady, heat.Probe.Steady) needs no
// judgement, and deadlines only move away. Nearly all readings are like that,
// and a replay owes them its speed; TestEasyWayChangesNothing holds it against
// the long way.

// judgeEase sets easy once everything has been judged.
func (g *gland) judgeEase(at time.Duration) {
	low, high, gush := g.detect.Out()
	_, guided := g.care.guide.next()
	g.easy = !low && !high && !gush && !g.early && !guided && !g.runIn.active(at) &&
		g.shaft.begun && g.care.meter.begun && g.drip.easy() && g.stream.easy(at) && g.quietAlarms()
	g.drip.fade()
	g.judgedC, g.judged = g.rise.Judged()
}

// quietAlarms reports that no alarm is active or pending but those of the upkeep,
// which are judged by the hour.
func (g *gland) quietAlarms() bool {
	for i := range g.alarms {
		upkeeps := Condition(i) == AdjustmentIneffective || Condition(i) == RepackDue
		if g.alarms[i].pending || g.alarms[i].active && !upkeeps {
			return false
		}
	}
	return true
}

func (d *dripState) easy() bool {
	return d.seen && d.quality == reading.Good && !d.reported && !d.bounces && !d.cold && d.badRows == 0
}

// easy reports that no burst is remembered.
func (s *stream) easy(at time.Duration) bool {
	lately := s.burst && at-s.burstAt < hintMemory || s.hint && at-s.hintAt < hintMemory
	return !lately && !s.merged && !s.suspect && !s.wasLow
}

// takeEasily takes a good reading, or leaves all as it was.
func (g *gland) takeEasily(at time.Duration, kind reading.Kind, value float64) bool {
	switch {
	case kind == reading.Drip && value == 1:
		return g.takeDropEasily(at)
	case kind == reading.Temp && g.shaft.turns && !g.cfg.InferShaft:
		return g.takeTempEasily(at, value)
	case kind == reading.Ref:
		if g.rise.Reference.Steady(at, value) {
			g.care.meter.pass(at)
			return true
		}
	}
	return false
}

func (g *gland) takeDropEasily(at time.Duration) bool {
	interval := at - g.drip.lastDrop
	if g.glide([]time.Duration{at}, bounceWithin, never) == 0 {
		return false
	}
	g.drip.feelWarmth(g.judgedC, g.judged)
	if interval < streamSpan/16 {
		g.lookForBurst(at)
	}
	if low, high, gush := g.detect.Out(); low || high || gush || g.stream.hint && g.stream.hintAt == at {
		g.settle(at)
	}
	return true
}

// glide takes the single drops that come next, as far as none of them needs
// judgement; whether the last does is left to the caller.
func (g *gland) glide(drops []time.Duration, least, until time.Duration) (taken int) {
	if taken = g.detect.Glide(&g.count, drops, least, until); taken == 0 {
		return 0
	}
	d := &g.drip
	for i := 0; i < taken && d.bounce != 0; i++ {
		d.bounce -= d.bounce / 64
		d.fade()
	}
	d.total += uint64(taken)
	d.lastDrop = drops[taken-1]
	g.care.meter.drops(d.lastDrop, taken)
	return taken
}

// fade forgets a share so small that it is lost beside the next one.
func (d *dripState) fade() {
	if d.bounce < 1e-20 {
		d.bounce = 0
	}
}

// feelWarmth keeps the rise at which the last drops fell, if it is known.
func (d *dripState) feelWarmth(c float64, known bool) {
	if known {
		d.warmthC, d.warmth = c, true
	}
}

func (g *gland) takeTempEasily(at time.Duration, c float64) bool {
	steady, hot := g.feelEasily(at, c)
	if !steady {
		return false
	}
	g.care.meter.pass(at)
	if hot {
		g.settle(at)
	}
	return true
}

// feelEasily takes a temperature, unless it is not steady; hot says that it needs
// judgement.
func (g *gland) feelEasily(at time.Duration, c float64) (steady, hot bool) {
	if !g.rise.Metal.Steady(at, c) {
		return false, false
	}
	g.rise.Update(at, g.shaft.settled(at))
	g.judgedC, g.judged = g.rise.Judged()
	return true, g.judged && g.judgedC >= g.cfg.Limits.RiseC
}

// sooner reports that an easy gland wants waking before the time on the agenda.
func (g *gland) sooner() bool {
	if g.detect.Idle() {
		return g.detect.IdleDeadline() < g.due
	}
	at, ok := g.detect.Deadline()
	return ok && at < g.due
}

// later is when the gland next wants waking, looked at again at its deadline:
// that of an easy gland may have moved since.
func (g *gland) later() time.Duration {
	if !g.easy {
		return g.due
	}
	if due := g.laterByDrops(); due > g.due {
		return due
	}
	return g.deadline()
}

// laterByDrops is later by the detector alone; all else only moves away, so that
// what it was will do.
func (g *gland) laterByDrops() time.Duration {
	if g.detect.Idle() {
		return min(g.detect.IdleDeadline(), g.restDue)
	}
	if at, ok := g.detect.Deadline(); ok {
		return min(at, g.restDue)
	}
	return g.restDue
}
