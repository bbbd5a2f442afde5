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
	// choice of ours). Two in a row, as one may have another cause.
	ShortestInterval = 3 * 24 * time.Hour
	leastIntervals   = 3
)

// course is how the adjustments of a packing go, oldest first.
type course struct {
	intervals []float64 // days from each to the next
	surely    int       // how many of the newest were recorded, all of them
	paces     []float64 // of the weep in each interval, drops per minute a day
	over      []float64 // drops per minute at the end of each interval with a pace
	cuts      []float64 // ln of before/after by flat, of each adjustment
	used      []float64 // flats up to the middle of each adjustment
	shares    []float64 // taken off the weep by each flat, 0 to 1
	flats     []float64
	before    []float64 // drops per minute
	after     []float64
	total     float64 // flats
}

func courseOf(list []Adjustment) course {
	var c course
	at, level := time.Duration(-1), 0.0
	for _, a := range list {
		if a.Flats < 0 {
			c.total += a.Flats
			continue
		}
		if c.surely++; !a.Recorded {
			c.surely = 0
		}
		flats := a.Flats
		if flats == 0 { // not known: as if it were one
			flats = 1
		}
		if at >= 0 {
			days := max(inDays(a.At-at), 0.1)
			c.intervals = append(c.intervals, days)
			if a.Before.Known && level > 0 {
				c.paces = append(c.paces, max(a.Before.DPM-level, 0.1)/days)
				c.over = append(c.over, a.Before.DPM)
			}
		}
		at, level = a.At, a.After.DPM
		c.flats = append(c.flats, flats)
		if a.Before.Known && a.After.Known && a.Verdict != NotYet {
			cut := math.Log(max(a.Before.DPM, 0.1)/max(a.After.DPM, 0.1)) / flats
			c.cuts, c.used = append(c.cuts, cut), append(c.used, c.total+flats/2)
			c.before, c.after = append(c.before, a.Before.DPM), append(c.after, a.After.DPM)
			c.shares = append(c.shares, -math.Expm1(-cut))
		}
		c.total += flats
	}
	return c
}

// repackDue says when adjusting will not do any more, and by what. mid is the best
// guess in days, also of a range too wide to be told; +Inf where there is none.
func (v *view) repackDue(list []Adjustment, p Packing, next ahead) (f Forecast, mid float64) {
	if bad, why := v.ineffective(list); bad {
		return Forecast{Known: true, Now: true, Early: v.at, Mid: v.at, Late: v.at, Words: []string{why}}, 0
	}
	c := courseOf(list)
	if f, due := v.spentNow(c, p); due {
		return f, 0
	}
	m, ok := v.modelOf(c, p)
	switch {
	case !ok:
		return Forecast{Words: []string{tooFewWords(c)}}, math.Inf(1)
	case !next.known:
		return Forecast{Words: []string{next.reason}}, math.Inf(1)
	}
	return v.ask(m, next)
}

// spentNow reports a packing at its end already.
func (v *view) spentNow(c course, p Packing) (Forecast, bool) {
	f := Forecast{Known: true, Now: true, Early: v.at, Mid: v.at, Late: v.at}
	n := len(c.intervals)
	switch {
	case p.Travel.Known && p.Travel.UsedMM > p.Travel.OfMM-v.cfg.Nuts.MMPerFlat():
		f.Words = []string{fmt.Sprintf("the follower's travel is used up: %.1f of %.1f mm", p.Travel.UsedMM, p.Travel.OfMM)}
	case n >= 2 && c.surely >= 3 && c.intervals[n-1] < inDays(ShortestInterval) && c.intervals[n-2] < inDays(ShortestInterval):
		f.Words = []string{fmt.Sprintf("the last two adjustments held for %s and %s only", spanWords(days(c.intervals[n-2])), spanWords(days(c.intervals[n-1])))}
	default:
		return Forecast{}, false
	}
	return f, true
}

func tooFewWords(c course) string {
	return fmt.Sprintf("%s between adjustments seen since the repacking, %d are needed", plural(float64(len(c.intervals)), "interval"), leastIntervals)
}

// trend says how the packing's life goes.
func (v *view) trend(list []Adjustment, p Packing) Trend {
	from, to := v.leg(len(v.cuts) - 1)
	from = max(from, to-growthReach)
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

func logs(list []float64) []float64 {
	out := make([]float64, len(list))
	for i, v := range list {
		out[i] = math.Log(max(v, 0.01))
	}
	return out
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
	switch g := t.Growth; g.Surety {
	case TooEarly:
		list = append(list, "weep since the last adjustment: too early to tell")
	case Unsure:
		list = append(list, "the weep since the last adjustment shows no trend")
	case Likely, Sure:
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
