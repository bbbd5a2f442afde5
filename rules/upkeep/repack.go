package upkeep

import (
	"fmt"
	"math"
	"time"
)

const (
	// ShortestInterval is the time from one adjustment to the next below which a
	// packing counts as spent: it then needs "excessive tightening to keep leakage
	// within limits" (NAVFAC MO-209 section 5.2 gives no figure; three days is a
	// choice of ours).
	ShortestInterval = 3 * 24 * time.Hour
	leastIntervals   = 3
	adjustmentsMost  = 60 // looked ahead
)

// course is how the adjustments of a packing go, oldest first.
type course struct {
	intervals []float64 // days from each to the next
	cuts      []float64 // ln(before/after)
	shares    []float64 // taken off the weep by each flat, 0 to 1
	flats     []float64
	before    []float64 // drops per minute
}

func courseOf(list []Adjustment) course {
	var c course
	at := time.Duration(-1)
	for _, a := range list {
		if a.Flats < 0 {
			continue
		}
		if at >= 0 {
			c.intervals = append(c.intervals, inDays(a.At-at))
		}
		at = a.At
		if a.Flats > 0 {
			c.flats = append(c.flats, a.Flats)
		}
		if a.Verdict == NotYet || a.Verdict == Unseen {
			continue
		}
		cut := math.Log(max(a.Before.DPM, 0.1) / max(a.After.DPM, 0.1))
		c.cuts, c.before = append(c.cuts, cut), append(c.before, a.Before.DPM)
		if a.Flats > 0 {
			c.shares = append(c.shares, 1-math.Exp(-cut/a.Flats))
		}
	}
	return c
}

// line is a robust line through values by their number, with 80 % limits of its
// slope and its value at the last.
type line struct {
	last, per, low, high float64
	ok                   bool
}

func lineOf(y []float64) line {
	if len(y) < leastIntervals {
		return line{}
	}
	x := make([]float64, len(y))
	rest := make([]float64, len(y))
	for i := range y {
		x[i] = float64(i)
	}
	l := line{ok: true}
	l.per, l.low, l.high, _ = theilSen(x, y, z80, 1)
	for i := range y {
		rest[i] = y[i] - l.per*x[i]
	}
	l.last = medianOf(rest) + l.per*x[len(x)-1]
	scatter := spread(rest)
	if math.IsInf(l.low, 0) || math.IsInf(l.high, 0) { // too few for limits of ranks
		half := z80 * max(scatter, 0.1) * math.Sqrt(12/math.Pow(float64(len(y)), 3))
		l.low, l.high = l.per-half, l.per+half
	}
	return l
}

// repackDue says when adjusting will not do any more, and by what.
func (v *view) repackDue(list []Adjustment, p Packing, t *Trend, next ahead) Forecast {
	if bad, why := v.ineffective(list); bad {
		return Forecast{Known: true, Now: true, Early: v.at, Mid: v.at, Late: v.at, Words: []string{why}}
	}
	c := courseOf(list)
	ends := v.ends(c, p)
	if f, due := v.spentNow(c, p); due {
		return f
	}
	if len(ends) == 0 || !next.known {
		return Forecast{Words: []string{tooFewWords(c, next)}}
	}
	first := ends[0]
	for _, e := range ends {
		if e.mid < first.mid {
			first = e
		}
	}
	if first.mid >= adjustmentsMost {
		return Forecast{Words: []string{"nothing shows yet that the packing wears out"}}
	}
	return v.spentAt(c, first, next)
}

// end is after how many more adjustments a packing is spent, and why.
type end struct {
	early, mid, late float64
	words            string
}

// ends gives the ways in which the packing comes to its end.
func (v *view) ends(c course, p Packing) (list []end) {
	if l := lineOf(logs(c.intervals)); l.ok {
		room := l.last - math.Log(inDays(ShortestInterval))
		list = append(list, end{steps(room, -l.low), steps(room, -l.per), steps(room, -l.high), fmt.Sprintf(
			"each time from one adjustment to the next is about %.0f %% shorter than the one before", 100*(1-math.Exp(l.per)))})
	}
	if l := lineOf(c.cuts); l.ok {
		room := l.last - math.Log(max(medianOf(c.before)/v.cfg.LeakDPM, 1.05))
		list = append(list, end{steps(room, -l.low), steps(room, -l.per), steps(room, -l.high), "each adjustment takes less off the weep than the one before"})
	}
	if p.Travel.Known && len(c.flats) >= 2 {
		left := (p.Travel.OfMM - p.Travel.UsedMM) / v.cfg.Nuts.MMPerFlat()
		each := medianOf(c.flats[max(0, len(c.flats)-4):])
		n := left / each
		list = append(list, end{0.75 * n, n, 1.3 * n, fmt.Sprintf("%.1f of %.1f mm of the follower's travel are used", p.Travel.UsedMM, p.Travel.OfMM)})
	}
	return list
}

// steps is how many steps down fit into a room.
func steps(room, each float64) float64 {
	if room <= 0 {
		return 0
	}
	if each <= 0 {
		return adjustmentsMost
	}
	return min(room/each, adjustmentsMost)
}

func logs(list []float64) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = math.Log(max(v, 0.01))
	}
	return out
}

// spentNow reports a packing at its end already.
func (v *view) spentNow(c course, p Packing) (Forecast, bool) {
	f := Forecast{Known: true, Now: true, Early: v.at, Mid: v.at, Late: v.at}
	n := len(c.intervals)
	switch {
	case p.Travel.Known && p.Travel.UsedMM > p.Travel.OfMM-v.cfg.Nuts.MMPerFlat():
		f.Words = []string{fmt.Sprintf("the follower's travel is used up: %.1f of %.1f mm", p.Travel.UsedMM, p.Travel.OfMM)}
	case n >= 2 && c.intervals[n-1] < inDays(ShortestInterval) && c.intervals[n-2] < inDays(ShortestInterval):
		f.Words = []string{fmt.Sprintf("the last two adjustments held for %s and %s only", spanWords(days(c.intervals[n-2])), spanWords(days(c.intervals[n-1])))}
	default:
		return Forecast{}, false
	}
	return f, true
}

// spentAt turns a number of adjustments into a time: this one's, and those of the
// intervals that follow.
func (v *view) spentAt(c course, e end, next ahead) Forecast {
	base, per, low, high := v.intervalCourse(c, next)
	mid := next.mid + total(base, per, e.mid)
	early := next.mid*math.Exp(-z80*next.sd) + total(base, low, e.early)
	late := next.mid*math.Exp(z80*next.sd) + total(base, high, e.late)
	sd := math.Log(late/max(early, 0.01)) / (2 * z80)
	sd = math.Hypot(repackFactor*sd, repackFloor)
	if sd > widest || mid > longest {
		return Forecast{Words: []string{"what was seen so far leaves too wide a range", e.words}}
	}
	f := v.rangeOf(mid, sd)
	f.Words = []string{e.words}
	return f
}

// intervalCourse is how long the next interval is, in days, and how each differs
// from the one before, as a logarithm.
func (v *view) intervalCourse(c course, next ahead) (base, per, low, high float64) {
	if l := lineOf(logs(c.intervals)); l.ok {
		per := min(l.per, 0)
		return math.Exp(l.last + per), per, min(l.low, 0), min(l.high, 0.05)
	}
	if len(c.intervals) > 0 {
		return math.Exp(medianOf(logs(c.intervals))), 0, -0.15, 0.05
	}
	return next.mid, 0, -0.3, 0.1
}

// total is the sum of n intervals, the last in part.
func total(base, per, n float64) (sum float64) {
	for i := 0.0; i < n; i++ {
		sum += base * math.Exp(per*i) * min(1, n-i)
	}
	return sum
}

func tooFewWords(c course, next ahead) string {
	if !next.known {
		return next.reason
	}
	return fmt.Sprintf("%s seen since the repacking, %d are needed", plural(float64(len(c.intervals)), "interval"), leastIntervals)
}

// trend says how the packing's life goes.
func (v *view) trend(list []Adjustment, p Packing) Trend {
	from, to := v.leg(len(v.cuts) - 1)
	c := courseOf(list)
	t := Trend{Growth: growthOf(v.series.within(from, to), from, linear).slope}
	t.Interval = shares(slopeOf(numbers(len(c.intervals)), logs(c.intervals), leastIntervals+1, false))
	t.Effect = slopeOf(numbers(len(c.shares)), c.shares, leastIntervals+1, false)
	t.Words = trendWords(t, p)
	return t
}

// shares turns a slope of logarithms into a share.
func shares(s Slope) Slope {
	if s.Surety != TooEarly {
		s.Per, s.LowPer, s.HighPer = math.Expm1(s.Per), math.Expm1(s.LowPer), math.Expm1(s.HighPer)
	}
	return s
}

func numbers(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	return x
}

func trendWords(t Trend, p Packing) []string {
	var list []string
	switch g := t.Growth; {
	case g.Surety == TooEarly:
		list = append(list, "weep since the last adjustment: too early to tell")
	case g.Surety == Unsure:
		list = append(list, "the weep since the last adjustment shows no trend")
	default:
		list = append(list, fmt.Sprintf("the weep changes by %+.2g drops/min a day (%s)", g.Per, g.Surety))
	}
	change := func(what string, s Slope, percent string) {
		if s.Surety == TooEarly {
			list = append(list, what+": too early to tell")
			return
		}
		list = append(list, fmt.Sprintf("%s: %+.0f %s from each adjustment to the next (%s)", what, 100*s.Per, percent, s.Surety))
	}
	change("time between adjustments", t.Interval, "%")
	change("share that a flat takes off the weep", t.Effect, "percentage points")
	if p.Travel.Known {
		list = append(list, fmt.Sprintf("follower travel used: %.1f of %.1f mm", p.Travel.UsedMM, p.Travel.OfMM))
	}
	return list
}
