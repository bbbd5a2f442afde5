package weep

import "time"

// A bank whose sums are all nought is idle. An interval within its quiet range
// then only speaks for the weep being in its band: the sums stay nought. Most
// drops of a good gland are like that for all banks, and then the detector is
// idle: nothing but the learning needs the drop. This is where the time of a
// replay goes. What idle banks leave undone is to note, level by level, when
// their sums were last nought; rouse does it when it matters.

// Gait says which drops Glide takes: those an interval of at least Lively after the
// one before, and those of at least Least that are not the last of Burst+1 within a
// span, as far as it can tell by the drops it is given.
type Gait struct {
	Least, Lively time.Duration
	Burst         int
	Within        time.Duration
}

func (g *Gait) takes(drops []time.Duration, n int, x time.Duration) bool {
	return x >= g.Lively || x >= g.Least && n >= g.Burst && drops[n]-drops[n-g.Burst] > g.Within
}

// Glide takes single drops as Drops does. It goes on as long as they are of the
// gait, come before until and before Deadline, and no side is out; one that brings
// a side out is the last. c counts them too. It says how many it has taken.
func (d *Detector) Glide(c *Counter, drops []time.Duration, gait Gait, until time.Duration) (n int) {
	if !d.whole || d.lowOut || d.highOut || d.gushOut {
		return 0
	}
	for len(drops) > 0 && drops[len(drops)-1] >= until {
		drops = drops[:len(drops)-1]
	}
	for n < len(drops) {
		if d.idle && d.looked == 0 {
			if n = d.coast(drops, n, gait); n == len(drops) {
				break
			}
		}
		at := drops[n]
		x := at - d.from
		if !gait.takes(drops, n, x) || at >= d.dueBefore() {
			break
		}
		n++
		if d.weigh(at, x) {
			break
		}
	}
	c.putAll(drops[:n])
	return n
}

// weigh takes one drop that is evidence of something, and reports whether a side
// is out by it.
func (d *Detector) weigh(at, interval time.Duration) (out bool) {
	d.rouse()
	d.polled -= d.polled * (1.0 / 16)
	d.from, d.looked = at, 0
	x := seconds(interval)
	if d.watched && !d.low.rests(at, x) {
		d.weighIn(&d.low, &d.dry, &d.lowOut, at, x)
	}
	if !d.high.rests(at, x) {
		d.weighIn(&d.high, &d.leak, &d.highOut, at, x)
	}
	if !d.gush.rests(at, x) {
		d.weighIn(&d.gush, &d.stream, &d.gushOut, at, x)
	}
	d.teach(interval)
	d.rest()
	return d.lowOut || d.highOut || d.gushOut
}

// weighIn gives one interval to a bank whose side is not out.
func (d *Detector) weighIn(b *bank, back *recovery, out *bool, at time.Duration, x float64) {
	if c := b.step(at, x, 1); c != nil {
		d.leave(b, back, out, at, c)
	}
}

// rests takes an interval that leaves an idle bank idle.
func (b *bank) rests(at time.Duration, x float64) bool {
	if !b.idle || x < float64(b.quietFrom) || x > float64(b.quietTo) {
		return false
	}
	b.last = at
	return true
}

// dueBefore is the deadline, which learning may have moved.
func (d *Detector) dueBefore() time.Duration {
	if d.low.idle && d.looked == 0 {
		return d.from + d.idleReach
	}
	if at, ok := d.Deadline(); ok {
		return at
	}
	return never
}

// IdleDeadline is Deadline of an idle detector, until its next drop.
func (d *Detector) IdleDeadline() time.Duration {
	if !d.watched {
		return never
	}
	return d.from + max(d.looked, d.idleReach)
}

// Idle reports that no bank has gathered anything.
func (d *Detector) Idle() bool { return d.idle }

// rest makes the detector idle after a drop, if it can be.
func (d *Detector) rest() {
	if d.polled < 1e-12 { // so small that it is lost beside the next share
		d.polled = 0
	}
	d.idle = d.low.idle && d.high.idle && d.gush.idle && d.whole && d.polled == 0 &&
		!d.lowOut && !d.highOut && !d.gushOut
}

// rouse makes up for what an idle detector left undone.
func (d *Detector) rouse() {
	if !d.idle {
		return
	}
	d.idle = false
	if d.watched {
		d.low.last = d.from
	}
	d.high.last, d.gush.last = d.from, d.from
}

// rouse makes up for what an idle bank left undone.
func (b *bank) rouse() {
	if !b.idle {
		return
	}
	b.idle = false
	for i := range b.levels {
		b.levels[i].since = b.last
	}
}

// findQuiet finds the range of intervals that are evidence for the band at
// every level of every bank.
func (d *Detector) findQuiet() {
	from := max(d.low.quietFrom, d.high.quietFrom, d.gush.quietFrom)
	to := min(d.low.quietTo, d.high.quietTo, d.gush.quietTo)
	d.quietFrom, d.quietTo = ceil(float64(from)), ceil(float64(to))-1
}

// findQuiet finds the longest stretch of intervals at which no level gains.
func (b *bank) findQuiet() {
	b.quietFrom, b.quietTo = 1, 0
	start, first, last := 0, 0, -1
	for i := range tableNodes {
		if b.gainsAt(i) {
			start = i + 1
		} else if i-start > last-first {
			first, last = start, i
		}
	}
	if last < 0 {
		return
	}
	from, to := nodeAt(first), nodeAt(last)
	if first == 0 {
		from = 0 // the curve is level before its first node
	} else {
		from -= b.margin(first, first-1) * (from - nodeAt(first-1))
	}
	if last < tableNodes-1 {
		to += b.margin(last, last+1) * (nodeAt(last+1) - to)
	}
	// A little inside, so that rounding does not matter.
	b.quietFrom, b.quietTo = float32(from/b.edge*(1+1e-6)), float32(to/b.edge*(1-1e-6))
}

// quietGain is not quite nought, so that no rounding makes a gain of it.
const quietGain = -1e-6

func (b *bank) gainsAt(node int) bool {
	for i := range b.levels {
		if b.gains.tables[i][node] > quietGain {
			return true
		}
	}
	return false
}

// margin is the share of the way from a quiet node to its neighbour that is quiet
// at every level.
func (b *bank) margin(quiet, next int) float64 {
	share := 1.0
	for i := range b.levels {
		from, to := float64(b.gains.tables[i][quiet]), float64(b.gains.tables[i][next])
		if to > quietGain {
			share = min(share, (quietGain-from)/(to-from))
		}
	}
	return share
}
