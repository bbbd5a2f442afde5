package rules

import (
	"time"

	"weepd/rules/heat"
	"weepd/rules/reading"
	"weepd/rules/upkeep"
	"weepd/rules/weep"
)

// gland is one gland's state. Its wants change only with inputs and at its own
// deadlines, so that the outcome does not depend on how often it is woken.
type gland struct {
	cfg      GlandConfig
	order    int // in the configuration
	place    int // in the agenda
	due      time.Duration
	detect   *weep.Detector
	count    weep.Counter
	rise     heat.Rise
	drip     dripState
	shaft    shaft
	stream   stream
	runIn    runIn
	care     *care // what the upkeep holds
	alarms   [Conditions]alarm
	judgedC  float64       // the rise as judged last, °C
	fixedDue time.Duration // the deadline of all but the detector and the probes
	judged   bool          // judgedC is known
	easy     bool          // see easy.go
	early    bool          // burning was raised before the limit
	unfitted bool          // what clears now does so because its sensor was taken out
}

func newGland(cfg GlandConfig, order int, models *weep.Models) *gland {
	g := &gland{
		cfg: cfg, order: order, due: never, rise: heat.NewRise(),
		detect: weep.NewDetector(detectorConfig(cfg.Limits), models),
	}
	g.care = &care{life: upkeep.NewLife(g.upkeepConfig())}
	return g
}

// never is later than any time.
const never = time.Duration(1<<63 - 1)

// take applies a reading at the station's time.
func (g *gland) take(at time.Duration, kind reading.Kind, value float64, q reading.Quality) {
	g.begin(at)
	switch kind {
	case reading.Drip:
		g.takeDrops(at, value, q)
	case reading.Temp:
		g.rise.Metal.Read(at, value, q)
		g.warmed(at)
	case reading.Ref:
		g.rise.Reference.Read(at, value, q)
	case reading.Run:
		g.takeRun(at, value, q)
	default: // marks have a way of their own
	}
	g.settle(at)
}

// begin starts the clocks of a gland with its first reading.
func (g *gland) begin(at time.Duration) {
	if g.shaft.begun {
		return
	}
	g.shaft.begin(at, g.cfg.Timing.StartGrace)
	g.detect.Restart(at)
	g.count.Restart(at)
	g.drip.lastDrop = at
}

func (g *gland) takeRun(at time.Duration, value float64, q reading.Quality) {
	if !q.OK() {
		g.shaft.quality = q
		return
	}
	turns := value != 0
	g.shaft.quality = q
	if turns == g.shaft.turns && g.shaft.known {
		return
	}
	was := g.shaft.known
	g.shaft.set(at, turns, g.cfg.Timing.StartGrace)
	if !turns || was {
		g.count.Restart(at)
	}
	g.arm(at)
}

// arm lets too little weep matter only while it does.
func (g *gland) arm(at time.Duration) {
	matters := g.shaft.matters(at)
	g.detect.Arm(at, matters && g.drip.believed())
}

// warmed takes note of a new temperature of the metal.
func (g *gland) warmed(at time.Duration) {
	low, high, gush := g.detect.Out()
	well := !low && !high && !gush && g.shaft.settled(at)
	g.rise.Update(at, well)
	g.infer(at)
	if rise, ok := g.rise.Judged(); ok && g.shaft.contradict(at, rise, g.rise.Slope(), g.cfg.Limits.RiseC) {
		g.arm(at)
	}
}

// wake passes time up to at, a deadline.
func (g *gland) wake(at time.Duration) {
	if dead, ok := g.detect.Deadline(); ok && dead <= at {
		g.detect.Silent(at)
	}
	g.rise.Metal.Wait(at)
	g.rise.Reference.Wait(at)
	g.advanceRunIn(at)
	g.arm(at)
	g.settle(at)
	g.clearUnproven(at)
}

// deadline is when the passing of time alone next changes something.
func (g *gland) deadline() time.Duration {
	g.fixedDue = g.fixedDeadline()
	due := min(g.fixedDue, g.rise.SilentAt())
	if at, ok := g.detect.Deadline(); ok {
		return min(at, due)
	}
	return due
}

// fixedDeadline leaves the detector and the probes out.
func (g *gland) fixedDeadline() time.Duration {
	due := never
	sooner := func(at time.Duration, ok bool) {
		if ok {
			due = min(due, at)
		}
	}
	sooner(g.shaft.graceEnd, g.shaft.waiting())
	sooner(g.coldDeadline())
	sooner(g.runIn.next())
	sooner(g.care.unproven.next())
	sooner(g.care.guide.next())
	sooner(g.care.meter.deadline())
	sooner(g.stream.until, g.alarms[Gushing].active && !g.alarms[Gushing].pending && !g.stream.suspect && g.flushed())
	for i := range g.alarms {
		sooner(g.alarms[i].due, g.alarms[i].pending)
	}
	return due
}

// gap says that nothing of the station was watched up to at.
func (g *gland) gap(at time.Duration) {
	g.advanceRunIn(at)
	g.easy = false
	if b, ok := g.care.meter.skip(at); ok {
		g.observe(b)
	}
	if !g.shaft.begun {
		return
	}
	g.detect.Forget(at)
	g.count.Restart(at)
	g.rise.Gap(at)
	g.shaft.gap(at)
	g.drip.gap(at)
	for i := range g.alarms {
		g.alarms[i].pending = false
	}
	g.arm(at)
}
