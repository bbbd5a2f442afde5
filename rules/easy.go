package rules

import (
	"time"

	"weepd/rules/heat"
	"weepd/rules/reading"
	"weepd/rules/weep"
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
	case kind <= reading.Ref && kind != reading.Drip && g.sweepsWarms():
		return g.takeWarmEasily(at, kind, value)
	}
	return false
}

func (g *gland) takeDropEasily(at time.Duration) bool {
	if g.glide([]time.Duration{at}, never) == 0 {
		return false
	}
	g.drip.feelWarmth(g.judgedC, g.judged)
	if g.needsJudgement(at) {
		g.settle(at)
	}
	return true
}

// needsJudgement reports that the drop at a moment brought something to judge.
func (g *gland) needsJudgement(at time.Duration) bool {
	low, high, gush := g.detect.Out()
	return low || high || gush || g.stream.hint && g.stream.hintAt == at
}

// glide takes the single drops that come next, as far as none of them needs
// judgement; whether the last does is left to the caller.
func (g *gland) glide(drops []time.Duration, until time.Duration) (taken int) {
	// What may be a bounce is left out, and what may be the last of a burst comes one by one.
	gait := weep.Gait{Least: bounceWithin, Lively: streamSpan / 16, Burst: hintDrops, Within: hintSpan}
	singly := weep.Gait{Least: bounceWithin, Lively: bounceWithin}
	for taken < len(drops) {
		taken += g.detect.Glide(&g.count, drops[taken:], gait, until)
		if taken == len(drops) || g.detect.Glide(&g.count, drops[taken:taken+1], singly, until) == 0 {
			break
		}
		taken++
		if g.lookForBurst(drops[taken-1]); g.needsJudgement(drops[taken-1]) {
			break
		}
	}
	if taken == 0 {
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

func (g *gland) takeWarmEasily(at time.Duration, kind reading.Kind, c float64) bool {
	n, hot := g.warmEasily([]reading.Warm{{At: at, C: c, Kind: kind}}, 1, never)
	if n == 0 {
		return false
	}
	g.care.meter.pass(at)
	if hot {
		g.settle(at)
	}
	return true
}

// warmEasily takes temperatures before so many drops and a time, as far as they
// are ordinary. It says how many; hot says that the last needs judgement.
func (g *gland) warmEasily(warms []reading.Warm, drops int, until time.Duration) (n int, hot bool) {
	bounds := heat.Bounds{Drops: drops, Until: until, LimitC: g.cfg.Limits.RiseC, Settled: never}
	if g.shaft.turning() {
		bounds.Settled = g.shaft.since + settleTime
	}
	n, hot = g.rise.Glide(warms, bounds)
	g.judgedC, g.judged = g.rise.Judged()
	return n, hot
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

// laterByDrops is later by the detector and the probes; all else only moves away,
// so that what it was will do.
func (g *gland) laterByDrops() time.Duration {
	rest := min(g.fixedDue, g.rise.SilentAt())
	if g.detect.Idle() {
		return min(g.detect.IdleDeadline(), rest)
	}
	if at, ok := g.detect.Deadline(); ok {
		return min(at, rest)
	}
	return rest
}
