package rules

import "time"

// alarm is one condition's state with its delays.
type alarm struct {
	active  bool
	since   time.Duration
	message string
	pending bool
	due     time.Duration // when a pending change happens
}

const (
	// earlyWithin: with no weep and the rise past half its limit, burning is
	// certain when the limit is this near at the present growth.
	earlyWithin = 5 * time.Minute
	earlyShare  = 0.5
	// cooledShare of its normal rise or less is a gland that is flushed by more
	// than drops: a stream that reads as a weep.
	cooledShare = 0.85
	// coolingShare of its normal rise, when that is coolingNormalC or more, shows
	// a gland without friction; coolingOver ends that. No source.
	coolingShare   = 0.5
	coolingOver    = 0.7
	coolingNormalC = 4.0
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
}

// withheld reports that the drop count is not to be believed.
func (g *gland) withheld() bool { return g.drip.reported || g.drip.bounces }

// flushed reports a gland much cooler than it was while all was well.
func (g *gland) flushed() bool {
	rise, ok := g.rise.Judged()
	normal, learned := g.rise.Normal()
	return ok && learned && g.rise.Steady() && g.shaft.turning() && normal > coldC && rise < cooledShare*normal
}

// cooling reports few drops from a gland that is much cooler than it was while
// all was well, though the run signal says that the shaft turns: friction has
// gone. The dry gland stays raised, as only a look can tell.
func (g *gland) cooling(low bool) bool {
	rise, ok := g.rise.Judged()
	normal, learned := g.rise.Normal()
	was := g.alarms[DripSensor].active
	most := coolingShare
	if was {
		most = coolingOver
	}
	return low && ok && learned && normal >= coolingNormalC && rise < most*normal && (was || g.rise.Slope() <= 0) &&
		g.shaft.turning() && g.shaft.known && !g.stream.merged
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
	g.out = append(g.out, t)
}
