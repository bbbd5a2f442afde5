package weep

import (
	"math"
	"time"
)

// A bank watches one edge of the good band with one CUSUM for each of a few
// levels beyond it: Page's test (1954), whose worst-case delay is least for its
// false-alarm rate (Lorden 1971, Moustakides 1986) when the level is the one
// that came. The new level is not known, so there are several; each has its
// share of the false-alarm budget.
type bank struct {
	side   Side
	idle   bool    // all sums are nought, and last says since when; see idle.go
	edge   float64 // drops per second
	levels []cusum
	gains  *gains // of the levels; shared

	last               time.Duration // the last step of an idle bank, or its reset
	quietFrom, quietTo float32       // intervals at which no level gains, s
}

// bankLevels is how many levels the calibration covers.
const bankLevels = 3

// levelRatios are the levels as multiples of the edge. With the first, a weep at
// the limit itself (edge / 1.3 or x 1.3) just drifts up, so that every weep
// beyond the limit is found in the end; the others make large changes quick.
var levelRatios = [2][bankLevels]float64{
	TooLow:  {0.60, 0.35, 0.10},
	TooHigh: {1.65, 2.20, 4.00},
}

// cusum is the sum of evidence for one level since it was last nought: the
// best guess of when the weep went there.
type cusum struct {
	sum       float64
	threshold float64
	since     time.Duration
}

func newBank(side Side, edge float64, levels int) bank {
	return bank{side: side, edge: edge, levels: make([]cusum, levels)}
}

// setShape rebuilds the bank for a regularity. alarmsPerYear is the budget of
// the whole bank.
func (b *bank) setShape(step int, book *curveBook, alarmsPerYear float64) {
	b.gains = book.gainsOf(b.side, step, len(b.levels), b.edge)
	for i := range b.levels {
		c := &b.levels[i]
		before := c.threshold
		c.threshold = threshold(b.side, i, step, b.edge, alarmsPerYear/float64(len(b.levels)))
		if before > 0 { // keep the share of the threshold reached
			c.sum *= c.threshold / before
		}
	}
	b.findQuiet()
}

// step takes n intervals of x seconds each that end at a moment, and reports
// the level that is past its threshold, if any.
func (b *bank) step(at time.Duration, x float64, n int) *cusum {
	if b.rests(at, x) {
		return nil
	}
	b.rouse()
	p := locate(x * b.edge)
	var fired *cusum
	gathered := 0.0
	for i := range b.levels {
		c := &b.levels[i]
		sum := c.sum + float64(n)*b.gains.at(i, p)
		nought := 0 // nobody can guess whether it is, so nothing here asks
		if sum <= 0 {
			nought = 1
		}
		c.sum = math.Float64frombits(math.Float64bits(sum) & (uint64(nought) - 1))
		c.since += (at - c.since) & -time.Duration(nought)
		gathered += c.sum
		if sum >= c.threshold {
			fired = c
		}
	}
	b.idle, b.last = gathered == 0, at
	return fired
}

// alert is the nearest that any level is to its threshold, as a share.
func (b *bank) alert() float64 {
	nearest := 0.0
	if b.idle {
		return nearest
	}
	for i := range b.levels {
		if c := &b.levels[i]; c.sum > nearest*c.threshold {
			nearest = c.sum / c.threshold
		}
	}
	return nearest
}

// suspicious reports that a level is nearer to its threshold than suspicion.
func (b *bank) suspicious() bool {
	if b.idle {
		return false
	}
	for i := range b.levels {
		if c := &b.levels[i]; c.sum > suspicion*c.threshold {
			return true
		}
	}
	return false
}

func (b *bank) reset(at time.Duration) {
	for i := range b.levels {
		c := &b.levels[i]
		c.sum, c.since = 0, at
	}
	b.idle, b.last = true, at
}

// silences holds, for each low level, the evidence that a silence gives while
// it lasts: the log ratio of the two chances that an interval is that long.
type silences [bankLevels]table

func (s *silences) setShape(edge float64, of *curves) {
	for i := range s {
		s[i] = of.silence(i, edge)
	}
}

// firstCrossing is how long a silence since the last drop brings the first
// level of b to its threshold, and which.
func (s *silences) firstCrossing(b *bank) (time.Duration, *cusum) {
	least := math.Inf(1)
	var first *cusum
	for i := range s {
		c := &b.levels[i]
		if y, ok := s[i].crossing(c.threshold - c.sum); ok && y < least {
			least, first = y, c
		}
	}
	return ceil(least / b.edge), first
}

// reachAt is how long a silence may last before a level of b whose sum is a
// share of its threshold could cross.
func (s *silences) reachAt(b *bank, share float64) time.Duration {
	least := math.Inf(1)
	for i := range s {
		if y, ok := s[i].crossing(b.levels[i].threshold * (1 - share)); ok {
			least = min(least, y)
		}
	}
	return ceil(least / b.edge)
}
