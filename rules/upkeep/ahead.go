package upkeep

import (
	"fmt"
	"math"
)

// line is a robust straight line with its standard deviations.
type line struct {
	at0, per, perSD, scatter float64
	x                        float64 // middle of the values
	n                        float64
}

func lineOf(x, y []float64) line {
	l := line{n: float64(len(y)), x: medianOf(x)}
	var low, high float64
	l.per, low, high, _ = theilSen(x, y, z80, 1)
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = y[i] - l.per*x[i]
	}
	l.at0, l.scatter = medianOf(rest), spread(rest)
	l.perSD = (high - low) / (2 * z80)
	// Few values have no limits of ranks, or ones by luck: then by their scatter,
	// as of a line by least squares, of values evenly apart.
	width := x[len(x)-1] - x[0]
	plain := max(l.scatter, leastScatter) * math.Sqrt(12/l.n) / max(width, 1)
	if math.IsInf(l.perSD, 0) || math.IsNaN(l.perSD) {
		l.perSD = plain
	}
	l.perSD = max(l.perSD, plain)
	return l
}

// leastScatter is taken of values that lie on a line by luck. No source.
const leastScatter = 0.1

// at gives the line where the slope is z standard deviations off.
func (l line) at(x, z float64) float64 { return l.at0 + l.per*x + z*l.perSD*(x-l.x) }

// model is a packing's life as it went, to be carried on: the weep grows at a
// pace that changes from one adjustment to the next, and a flat takes off less
// the more were turned.
type model struct {
	pace   line // ln of drops per minute a day, by number of interval
	cut    line // ln by flat, by flats used
	done   float64
	used   float64
	leak   float64 // the most allowed
	wait   float64 // days from there until somebody adjusts
	before float64 // the weep then, as it was
	after  float64 // the weep that is wanted then
	turns  float64 // flats that are turned at most at a time
	left   float64 // flats of travel; +Inf where not known
	last   float64 // the weep after the last adjustment
}

const (
	usualTurns = 4 // flats at a time at the most, unless more were seen. No source.
	paceMost   = 8 // newest intervals that are looked at
)

func (v *view) modelOf(c course, p Packing) (model, bool) {
	if len(c.paces) < leastIntervals || len(c.cuts) < leastIntervals {
		return model{}, false
	}
	from := max(0, len(c.paces)-paceMost)
	m := model{
		pace: lineOf(numbers(len(c.paces))[from:], logs(c.paces)[from:]), cut: lineOf(c.used, c.cuts),
		done: float64(len(c.paces)), used: c.total, before: max(medianOf(c.before), v.cfg.LeakDPM), leak: v.cfg.LeakDPM,
		after: medianOf(c.after), turns: usualTurns, left: math.Inf(1), last: c.after[len(c.after)-1],
	}
	waits := make([]float64, len(c.paces))
	for i, over := range c.over {
		waits[i] = max(0, over-v.cfg.LeakDPM) / c.paces[i]
	}
	m.wait = medianOf(waits)
	for _, f := range c.flats {
		m.turns = max(m.turns, f)
	}
	if p.Travel.Known {
		m.left = (p.Travel.OfMM - p.Travel.UsedMM) / v.cfg.Nuts.MMPerFlat()
	}
	return m, true
}

// reason is why a packing comes to its end.
type reason int

const (
	byInterval reason = iota
	byEffect
	byTravel
	byNothing // not within the horizon
	reasons
)

// carryOn gives how many days after the next adjustment's moment the packing is
// spent. z are how far off the lines are taken, in standard deviations.
func (m model) carryOn(zPace, zSlope, zCut float64) (float64, reason) {
	days, used, short := 0.0, 0.0, 0
	weep := m.before
	for k := 0.0; ; k++ {
		cut := max(m.cut.at(m.used+used, zCut), 0)
		flats := 0.0
		for weep > m.after && flats < m.turns {
			if used++; used > m.left {
				return days, byTravel
			}
			weep *= math.Exp(-cut)
			flats++
		}
		if weep >= m.leak {
			return days, byEffect
		}
		scatter := m.pace.scatter / math.Sqrt(m.pace.n)
		pace := math.Exp(m.pace.at(m.done+1+k, zSlope) + zPace*max(scatter, leastScatter))
		interval := (m.leak-weep)/pace + m.wait
		if days += interval; days > longest {
			return longest, byNothing
		}
		if short++; interval >= inDays(ShortestInterval) {
			short = 0
		}
		if short == 2 {
			return days, byInterval
		}
		weep = m.leak + pace*m.wait
	}
}

// nodes are those of Gauss and Hermite for a normal variable, five of them
// (Abramowitz and Stegun table 25.10, transformed).
func nodes() (z, weight [5]float64) {
	return [5]float64{-2.856970, -1.355626, 0, 1.355626, 2.856970}, [5]float64{0.011257, 0.222076, 0.533333, 0.222076, 0.011257}
}

// ask carries a model on over all that its lines may be.
func (v *view) ask(m model, next ahead) (f Forecast, days float64) {
	z, w := nodes()
	until := next.mid
	if next.now {
		until = 0
	}
	var share [reasons]float64
	mean, square := 0.0, 0.0
	for i := range z {
		for j := range z {
			for k := range z {
				days, why := m.carryOn(z[i], z[j], z[k])
				weight := w[i] * w[j] * w[k]
				share[why] += weight
				l := math.Log(max(until+days, 0.5))
				mean += weight * l
				square += weight * l * l
			}
		}
	}
	mid := math.Exp(mean)
	sd := math.Sqrt(max(0, square-mean*mean))
	sd = math.Hypot(sd, next.sd*until/mid) * repackFactor
	sd = math.Hypot(sd, repackFloor)
	mid *= repackLater
	words := m.words(share)
	switch {
	case share[byNothing] > 0.5:
		return Forecast{Words: []string{"nothing shows yet that the packing wears out"}}, math.Inf(1)
	case sd > widestRepack || mid > longest:
		return Forecast{Words: append([]string{"what was seen so far leaves too wide a range"}, words...)}, mid
	}
	f = v.rangeOf(mid, sd)
	f.Words = words
	return f, mid
}

func (m model) paceWords() string {
	change := 100 * math.Expm1(m.pace.per)
	if change < 1 {
		return "adjustments come ever closer together"
	}
	return fmt.Sprintf("the weep grows %.0f %% faster after each adjustment than after the one before", change)
}

// words gives the reasons that count, the first first.
func (m model) words(share [reasons]float64) []string {
	var list []string
	if share[byTravel] > 0.2 {
		list = append(list, fmt.Sprintf("the follower has travel left for %s", plural(math.Floor(m.left), "flat")))
	}
	if share[byInterval] > 0.2 {
		list = append(list, m.paceWords())
	}
	if share[byEffect] > 0.2 || m.cut.per < -m.cut.perSD {
		list = append(list, fmt.Sprintf("a flat took off %.0f %% of the weep at first and takes off %.0f %% now",
			100*-math.Expm1(-m.cut.at(0, 0)), 100*-math.Expm1(-max(0, m.cut.at(m.used, 0)))))
	}
	return list
}
