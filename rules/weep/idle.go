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

// Idle reports that no bank has gathered anything.
func (d *Detector) Idle() bool { return d.idle }

// Steady takes one drop if it leaves an idle detector idle. Not ok means that
// nothing was done; Drops does it.
func (d *Detector) Steady(at time.Duration) (ok bool) {
	x := at - d.from
	if !d.idle || x < d.quietFrom || x > d.quietTo || d.learn.blockEnds() {
		return false
	}
	d.from, d.looked = at, 0
	d.learn.pair(x.Seconds())
	return true
}

// Glide is Steady for the drops of a recording, one a row, as far as they are all
// of one point, come before until, and lie at least so much apart; c counts them
// too. It says how many it has taken.
func (d *Detector) Glide(c *Counter, rows []reading.Row, least, until time.Duration) (n int) {
	if !d.idle {
		return 0
	}
	least = max(least, d.quietFrom)
	from, point := d.from, rows[0].Point
	for n < len(rows) {
		row := &rows[n]
		x := row.At - from
		if x < least || x > d.quietTo || row.At >= until || row.Point != point || row.Value != 1 ||
			row.Quality != reading.Good || d.learn.blockEnds() {
			break
		}
		from = row.At
		d.learn.pair(x.Seconds())
		c.put(from, 1)
		n++
	}
	d.from, d.looked = from, 0
	return n
}

// SteadyUntil is when silence would next need a look at an idle detector; not ok
// means that it is not idle.
func (d *Detector) SteadyUntil() (at time.Duration, ok bool) {
	if !d.watched {
		return never, d.idle
	}
	return d.from + d.reachAt(0), d.idle && d.looked == 0
}

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
