package weep

import (
	"math"
	"time"
)

// How an idle detector takes drops. Intervals in its quiet range need nothing but
// to be learned. Others are nearly always made up for by the next ones: they are
// weighed aside, and where all sums come back to nought before any counts for much,
// the detector is what it was.

// coast takes drops from the n-th on, as long as the detector stays idle or comes
// back to it, and none fills a block. It says where it ended.
func (d *Detector) coast(drops []time.Duration, n int, gait Gait) int {
	low, high := max(gait.Lively, d.quietFrom, 1), min(d.quietTo, d.idleReach-1)
	if high < low {
		return n
	}
	quiet := interval{low, uint64(high - low)}
	if d.learn.passed > 0 {
		if n = d.drift(drops, n, quiet, gait); d.learn.passed > 0 {
			return n
		}
	}
	return d.coastLearning(drops, n, quiet, gait)
}

// interval is a range of intervals.
type interval struct {
	from time.Duration
	span uint64
}

func (i interval) holds(x time.Duration) bool { return uint64(x-i.from) <= i.span }

// drift takes drops that are not learned.
func (d *Detector) drift(drops []time.Duration, n int, quiet interval, gait Gait) int {
	first, end := n, min(len(drops), n+int(d.learn.passed))
	from := d.from
	for n < end {
		if quiet.holds(drops[n] - from) {
			from = drops[n]
			n++
			continue
		}
		back := d.excursion(drops[:end], n, from, gait)
		if back == n {
			break
		}
		n, from = back, drops[back-1]
	}
	d.from = from
	d.learn.passed -= uint16(n - first)
	return n
}

// coastLearning takes drops that are learned.
func (d *Detector) coastLearning(drops []time.Duration, n int, quiet interval, gait Gait) int {
	end := min(len(drops), n+d.learn.room())
	from, previous, learned := d.from, d.learn.previous, &d.learn.block
	for n < end {
		back := n + 1
		if !quiet.holds(drops[n] - from) {
			if back = d.excursion(drops[:end], n, from, gait); back == n {
				break
			}
		}
		for ; n < back; n++ {
			x := drops[n] - from
			from = drops[n]
			if previous == 0 {
				previous = x
				continue
			}
			learned.add(previous, x)
			previous = 0
		}
	}
	d.from, d.learn.previous = from, previous
	return n
}

// excursion weighs drops from the n-th on aside until all sums are back at nought;
// it says where that is. Where one first counts for more than suspicion, the gait
// or the drops end, or a silence might matter, it gives n.
func (d *Detector) excursion(drops []time.Duration, n int, from time.Duration, gait Gait) int {
	b, calm := &d.high, d.calmHigh
	if drops[n]-from > d.quietTo {
		b, calm = &d.low, d.calmLow
	}
	if back, told := b.excursion(drops, n, from, calm, gait); told {
		return back
	}
	var low, high, gush sums
	for i := n; i < len(drops); i++ {
		x := drops[i] - from
		if !gait.takes(drops, i, x) || x <= 0 || x >= d.halfReach {
			return n
		}
		from = drops[i]
		if !high.weigh(&d.high, seconds(x)) || !gush.weigh(&d.gush, seconds(x)) || d.watched && !low.weigh(&d.low, seconds(x)) {
			return n
		}
		if !low.any && !high.any && !gush.any {
			return i + 1
		}
	}
	return n
}

// excursion is the detector's where intervals are calm, evidence for no other bank,
// as they nearly always are; told says that it could tell.
func (b *bank) excursion(drops []time.Duration, n int, from time.Duration, calm interval, gait Gait) (back int, told bool) {
	if len(b.levels) != bankLevels {
		return n, false
	}
	first, second, third := &b.levels[0], &b.levels[1], &b.levels[2]
	mostA, mostB, mostC := suspicion*first.threshold, suspicion*second.threshold, suspicion*third.threshold
	var sumA, sumB, sumC float64
	for i := n; i < len(drops); i++ {
		x := drops[i] - from
		bits := math.Float64bits(seconds(x) * b.edge) // as locate has it
		node := int(bits>>mantissaShift) - tableBase
		if uint(node) >= tableNodes-1 || !calm.holds(x) || x < gait.Lively && !gait.takes(drops, i, x) {
			return n, false
		}
		from = drops[i]
		at, fraction := &b.gains.lines[node], float64(bits&(1<<mantissaShift-1))*fractionScale
		sumA = max(0, sumA+(at[0].base+at[0].slope*fraction))
		sumB = max(0, sumB+(at[1].base+at[1].slope*fraction))
		sumC = max(0, sumC+(at[2].base+at[2].slope*fraction))
		if sumA > mostA || sumB > mostB || sumC > mostC {
			return n, true
		}
		if sumA+sumB+sumC == 0 {
			return i + 1, true
		}
	}
	return n, true
}

// findCalm finds the intervals that leave all banks but one at rest.
func (d *Detector) findCalm() {
	d.calmHigh = d.calmFor(&d.low, &d.gush)
	d.calmLow = d.calmFor(&d.high, &d.gush)
}

func (d *Detector) calmFor(a, b *bank) interval {
	low := ceil(float64(max(a.quietFrom, b.quietFrom)))
	high := min(ceil(float64(min(a.quietTo, b.quietTo))), d.halfReach) - 1
	return interval{low, uint64(max(0, high-low))}
}

// sums are those of a bank, aside.
type sums struct {
	of  [bankLevels]float64
	any bool // not all are nought
}

// weigh is bank.step for one interval, as long as nothing counts for much.
func (s *sums) weigh(b *bank, x float64) bool {
	if !s.any && x >= float64(b.quietFrom) && x <= float64(b.quietTo) {
		return true
	}
	p := locate(x * b.edge)
	gathered := 0.0
	for i := range b.levels {
		c := &b.levels[i]
		sum := max(0, s.of[i]+b.gains.at(i, p))
		if sum > suspicion*c.threshold {
			return false
		}
		s.of[i] = sum
		gathered += sum
	}
	s.any = gathered != 0
	return true
}
