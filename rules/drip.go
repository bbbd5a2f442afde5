package rules

import (
	"time"

	"weepd/rules/heat"
	"weepd/rules/reading"
)

// dripState is what is known of a gland's drop sensor.
type dripState struct {
	seen       bool // any reading came
	total      uint64
	lastDrop   time.Duration
	quality    reading.Quality
	badSince   time.Duration
	badRows    int
	okSince    time.Duration
	reported   bool    // bad for so long that it is not believed
	bounce     float64 // share of intervals too short even for splash, smoothed
	bounces    bool
	cold       bool          // no drops and no heat
	coldLooked time.Duration // the last deadline at which that was judged
	warmthC    float64       // rise when the last drops fell, °C
	warmth     bool          // warmthC is known
}

const (
	// believeAfter is how long a drop sensor must be bad before a fault is
	// raised, and good before it is cleared.
	believeAfter = 60 * time.Second
	// bounceWithin is shorter than any splash: a drop of 34 to 85 µL (Tate with
	// Harkins and Brown, 2 to 6 mm tips) needs about 40 ms to fall past a sensor's
	// beam at 1 m/s; a contact bounces for some milliseconds. No source.
	bounceWithin = 25 * time.Millisecond
	// bounceShare of the intervals: one bounce for nearly every drop.
	bounceShare = 0.35
	// coldAfter is how long a turning gland may show neither drops nor heat:
	// several times the time in which a gland without a film warms visibly
	// (minutes; recorded cases 2 to 3). No source.
	coldAfter = 20 * time.Minute
	// streamDrops within streamSpan, 240 a minute: near the 300 a minute at which
	// drops "amount to a steady stream" (AWWA drip calculator).
	streamDrops = 32
	streamSpan  = 8 * time.Second
	// streamMemory is how soon after that a scarcity of drops means that they
	// have merged.
	streamMemory = 3 * time.Minute
	// streamHeatC is the rise that shows a merged stream to be a dry gland.
	streamHeatC = 3.0
)

// believed reports whether the count may be used.
func (d *dripState) believed() bool { return !d.reported && !d.bounces && d.quality.OK() }

func (g *gland) takeDrops(at time.Duration, value float64, q reading.Quality) {
	d := &g.drip
	d.seen = true
	if !q.OK() {
		g.badDrops(at, q)
		return
	}
	if !d.quality.OK() {
		d.quality, d.okSince, d.badRows = q, at, 0
		g.detect.Restart(at)
		g.count.Restart(at)
	}
	d.quality = q
	if d.reported && at-d.okSince >= believeAfter {
		d.reported = false
	}
	if n := int(value); n > 0 {
		g.drops(at, n)
	}
	g.arm(at)
}

func (g *gland) badDrops(at time.Duration, q reading.Quality) {
	d := &g.drip
	if d.badRows == 0 {
		d.badSince = at
	}
	d.badRows++
	d.quality = q
	if d.badRows > 1 && at-d.badSince >= believeAfter {
		d.reported = true
	}
	g.arm(at)
	g.detect.Restart(at)
	g.count.Restart(at)
}

func (g *gland) drops(at time.Duration, n int) {
	d := &g.drip
	interval := at - d.lastDrop
	d.total += uint64(n)
	d.lastDrop = at
	short := 0.0
	if interval < bounceWithin {
		short = 1
	}
	d.bounce += (short - d.bounce) / 64
	d.bounces = d.bounce > bounceShare || d.bounces && d.bounce > bounceShare/2
	g.count.Add(at, n)
	g.care.meter.drops(at, n)
	g.detect.Drops(at, n)
	if interval < streamSpan/16 {
		g.lookForBurst(at)
	}
	if d.cold && g.count.Burst(5, 2*time.Minute) {
		d.cold = false
		g.detect.Arm(at, false) // what the dead sensor showed is no evidence; armed again below
	}
	if rise, ok := g.rise.Judged(); ok {
		d.warmthC, d.warmth = rise, true
	}
}

// lookForBurst notes drops that come nearly as fast as drops can.
func (g *gland) lookForBurst(at time.Duration) {
	if !g.count.Burst(hintDrops, hintSpan) {
		return
	}
	g.stream.hint, g.stream.hintAt = true, at
	if g.count.Burst(streamDrops, streamSpan) {
		g.stream.burst, g.stream.burstAt = true, at
	}
}

// coldDeadline is when a gland without drops and heat stops being believed.
func (g *gland) coldDeadline() (time.Duration, bool) {
	if !g.drip.seen || g.drip.cold || !g.shaft.turning() {
		return 0, false
	}
	due := max(g.drip.lastDrop, g.shaft.since) + coldAfter
	return due, due > g.drip.coldLooked
}

// judgeCold decides whether the absence of drops is the sensor's: without a
// film the gland would have warmed.
func (g *gland) judgeCold(at time.Duration) {
	d := &g.drip
	balance := g.rise.Judge(g.cfg.Limits.RiseC, d.warmthC, d.warmth)
	if d.cold {
		d.cold = g.shaft.turning() && balance != heat.Heated
		return
	}
	low, _, _ := g.detect.Out()
	due := max(d.lastDrop, g.shaft.since) + coldAfter
	silent := at >= due
	if silent {
		d.coldLooked = due
	}
	d.cold = d.seen && silent && low && balance != heat.Heated && balance != heat.Unknown && g.shaft.turning() && !g.stream.merged
}

func (d *dripState) gap(at time.Duration) {
	d.lastDrop, d.badRows, d.okSince = at, 0, at
}
