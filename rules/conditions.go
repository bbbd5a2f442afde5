package rules

import (
	"time"

	"weepd/rules/heat"
)

// alarm is one condition's state with its delays.
type alarm struct {
	active  bool
	pending bool
	since   time.Duration
	due     time.Duration // when a pending change happens
	message string
}

const (
	// earlyWithin: with no weep and the rise past half its limit, burning is
	// certain when the limit is this near at the present growth.
	earlyWithin = 5 * time.Minute
	earlyShare  = 0.5
)

// settle judges every condition with what is known now.
func (g *gland) settle(at time.Duration) {
	g.judgeStream(at)
	g.judgeCold(at)
	low, high, gush := g.detect.Out()
	if g.drip.cold || !g.drip.seen {
		low = false
	}
	gushing := gush || g.stream.merged || g.stream.suspect || g.alarms[Gushing].active && at < g.stream.until && g.flushed()
	g.want(at, Gushing, gushing, g.withheld())
	gushing = gushing || g.alarms[Gushing].active
	g.want(at, Leaking, high && !gushing, g.withheld() || gushing)
	g.want(at, Dry, low && !g.stream.merged && g.shaft.turning(), g.drip.cold || g.withheld() || !g.shaft.turning())
	g.judgeBurning(at)
	_, metal := g.rise.Metal.Faulty()
	_, reference := g.rise.Reference.Faulty()
	g.want(at, TempSensor, metal || reference, true)
	g.want(at, DripSensor, g.withheld() || g.drip.cold || g.cooling(low), true)
	g.meterWeep(at)
	g.judgeEase(at)
}

// withheld reports that the drop count is not to be believed.
func (g *gland) withheld() bool { return g.drip.reported || g.drip.bounces }

// flushed reports a gland much cooler than it was while all was well: more
// cools it than drops can.
func (g *gland) flushed() bool {
	balance := g.rise.Judge(g.cfg.Limits.RiseC, 0, false)
	return (balance == heat.Cooled || balance == heat.Cold) && g.rise.Steady() && g.shaft.turning()
}

// cooling reports few drops from a gland that has cooled until hardly any
// friction is left, though the run signal says that the shaft turns. The dry
// gland stays raised, as only a look can tell.
func (g *gland) cooling(low bool) bool {
	if !low || !g.shaft.turning() || !g.shaft.known || g.stream.merged {
		return false
	}
	balance := g.rise.Judge(g.cfg.Limits.RiseC, 0, false)
	if g.alarms[DripSensor].active {
		return balance == heat.Cold || balance == heat.Cooled
	}
	return balance == heat.Cold && g.rise.Slope() <= 0
}

func (g *gland) judgeBurning(at time.Duration) {
	rise, ok := g.rise.Judged()
	a := &g.alarms[Burning]
	if !ok { // not known: neither raised nor cleared
		a.pending = false
		return
	}
	limit := g.riseLimit(at)
	g.early = (g.alarms[Dry].active || g.runIn.active(at)) && rise >= earlyShare*limit && (g.early || g.nearLimit(limit))
	over := rise >= limit && (g.shaft.turning() || a.active)
	if a.active {
		over = rise >= limit*(1-g.cfg.Timing.DeadbandPercent/100)
	}
	g.want(at, Burning, over || g.early, false)
}

func (g *gland) nearLimit(limitC float64) bool {
	left, rising := g.rise.ToLimit(limitC)
	return rising && left <= earlyWithin
}

// want says whether a condition holds now. atOnce leaves its delay out: a
// condition that is taken back because nothing can be known, or a sensor's
// fault, which has waited already.
func (g *gland) want(at time.Duration, c Condition, holds, atOnce bool) {
	a := &g.alarms[c]
	if holds && atOnce && c != TempSensor && c != DripSensor {
		holds = false
	}
	if holds == a.active {
		a.pending = false
		return
	}
	delay := g.cfg.Timing.OffDelay
	if holds {
		delay = g.cfg.Timing.OnDelay
	}
	if atOnce {
		delay = 0
	}
	if !a.pending {
		a.pending, a.due = true, at+delay
	}
	if at >= a.due || atOnce {
		g.change(at, c, holds)
	}
}

func (g *gland) change(at time.Duration, c Condition, active bool) {
	a := &g.alarms[c]
	a.active, a.pending, a.since = active, false, at
	t := Transition{
		At: at, Gland: g.cfg.ID, Condition: c, Active: active, Priority: c.Priority(),
		Weep: g.weep(at), Rise: g.riseNow(),
	}
	t.Message = g.message(t)
	a.message = t.Message
	if active && g.care.unproven.foundAgain(c) {
		return
	}
	g.care.out = append(g.care.out, t)
}
