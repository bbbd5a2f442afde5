package weep

import (
	"time"

	"weepd/rules/reading"
)

// A bank whose sums are all nought is idle. An interval within its quiet range
// then only speaks for the weep being in its band: the sums stay nought. Most
// drops of a good gland are like that for all banks, and then the detector is
// idle: nothing but the learning needs the drop. This is where the time of a
// replay goes. What idle banks leave undone is to note, level by level, when
// their sums were last nought; rouse does it when it matters.

// Glide takes the drops of a recording, one a row, as Drops does. It goes on as
// long as they are all of one point, lie at least so much apart, come before
// until and before Deadline (until is no later than that when it begins), and no
// side is out; a row that brings a side out is the last. c counts them too. It says how many it has taken.
func (d *Detector) Glide(c *Counter, rows []reading.Row, least, until time.Duration) (n int) {
	if !d.whole || d.lowOut || d.highOut || d.gushOut {
		return 0
	}
	from, point, latest := d.from, rows[0].Point, d.before(until)
	for n < len(rows) {
		row := &rows[n]
		at := row.At
		x := at - from
		if x < least || at >= latest || row.Point != point || row.Value != 1 || row.Quality != reading.Good {
			break
		}
		n++
		c.put(at, 1)
		if d.idle && x >= d.quietFrom && x <= d.quietTo && !d.learn.blockEnds() {
			from = at
			d.learn.pair(x.Seconds())
			continue
		}
		d.from = from
		from = at
		if d.weigh(at, x.Seconds()) {
			break
		}
		latest = d.before(until)
	}
	if n > 0 {
		d.from, d.looked = from, 0
	}
	return n
}

// weigh takes one drop that is evidence of something, and reports whether a side
// is out by it.
func (d *Detector) weigh(at time.Duration, x float64) (out bool) {
	d.rouse()
	d.polled -= d.polled * (1.0 / 16)
	d.from, d.looked = at, 0
	d.step(at, x, 1)
	d.teach(x)
	d.rest()
	return d.lowOut || d.highOut || d.gushOut
}

// before is the earlier of a time and the deadline. While the detector is idle
// the deadline only moves away, and the caller's until holds it already.
func (d *Detector) before(until time.Duration) time.Duration {
	if d.low.idle {
		return until
	}
	if at, ok := d.Deadline(); ok {
		return min(at, until)
	}
	return until
}

// Idle reports that no bank has gathered anything. Then the deadline only moves
// away with each drop.
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

// findQuiet finds the longest stretch of nodes at which no level gains.
func (b *bank) findQuiet() {
	start, most := 0, 0
	b.quietFrom, b.quietTo = 1, 0
	for i := range tableNodes {
		if b.gainsAt(i) {
			start = i + 1
			continue
		}
		if i-start > most {
			most = i - start
			// A little inside, so that rounding does not matter.
			b.quietFrom, b.quietTo = float32(nodeAt(start)/b.edge*(1+1e-6)), float32(nodeAt(i)/b.edge*(1-1e-6))
			if start == 0 {
				b.quietFrom = 0 // the curve is level before its first node
			}
		}
	}
}

func (b *bank) gainsAt(node int) bool {
	for i := range b.levels {
		// Not quite nought, so that no rounding between two nodes makes a gain.
		if b.levels[i].gain[node] > -1e-6 {
			return true
		}
	}
	return false
}
