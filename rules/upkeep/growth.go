package upkeep

import (
	"math"
	"time"
)

// scale is how the weep is looked at: as it is, or by its logarithm. Packing
// that opens evenly grows on the first, one that washes out ever faster on the
// second; what is right is not known beforehand, so both are asked.
type scale int

const (
	linear scale = iota
	logarithmic
	scales
)

func (f scale) of(dpm float64) float64 {
	if f == logarithmic {
		return math.Log(max(dpm, 0.1))
	}
	return dpm
}

const (
	growthPoints = 48 // of a leg, at most
	// growthReach is how far back the growth of the leg that goes on is looked at.
	growthReach = 120 * 24 * time.Hour
	leastPoints = 6
	leastLeg    = 24 * time.Hour
)

// growth is how fast the weep grows in a leg, on one scale a day.
type growth struct {
	per, sd float64
	slope   Slope
	ok      bool
}

// growthOf fits a leg.
func growthOf(s series, from time.Duration, f scale) growth {
	x, y := s.points(from, growthPoints)
	if len(x) < leastPoints || x[len(x)-1]-x[0] < inDays(leastLeg) {
		return growth{slope: Slope{N: len(x), P: 1}}
	}
	for i := range y {
		y[i] = f.of(y[i])
	}
	slope := slopeOf(x, y, leastPoints, true)
	sd := (slope.HighPer - slope.LowPer) / (2 * z80)
	if math.IsInf(sd, 0) || math.IsNaN(sd) {
		return growth{slope: slope}
	}
	return growth{per: slope.Per, sd: math.Hypot(sd, unsteady(x, y)), slope: slope, ok: true}
}

// unsteady is half the difference between the growth of a leg's two halves: what
// opens in jumps, ever faster or ever slower has limits wider than a straight
// line's.
func unsteady(x, y []float64) float64 {
	half := len(x) / 2
	if half < leastPoints/2 {
		return 0
	}
	a, _, _, okA := theilSen(x[:half], y[:half], z80, 1)
	b, _, _, okB := theilSen(x[half:], y[half:], z80, 1)
	if !okA || !okB {
		return 0
	}
	return math.Abs(a-b) / 2
}

// past gives the growth of the legs that are over, oldest first; only what
// begins and ends with an adjustment or the repacking shows wear.
func (v *view) past(f scale) []float64 {
	var list []float64
	for i := -1; i+1 < len(v.cuts); i++ {
		if i >= 0 && !v.cuts[i].adjust || !v.cuts[i+1].adjust || i < 0 && v.since == 0 {
			continue
		}
		from, to := v.leg(i)
		if g := growthOf(v.series.within(from, to), from, f); g.ok && g.per > 0 {
			list = append(list, g.per)
		}
	}
	return list
}

const (
	pastMost = 8 // legs that say something about the next
	// Least relative spread of the growth from leg to leg, by how many there are to
	// show it. Set so that the stated ranges hold in `weepd proof outlook`.
	spreadOne, spreadTwo, spreadMore = 0.6, 0.45, 0.3
)

// expected is what past legs say of the growth in the next: their level, half
// of their trend, and how far they scatter.
func expected(list []float64) (per, sd float64, ok bool) {
	list = list[max(0, len(list)-pastMost):]
	n := len(list)
	if n == 0 {
		return 0, 0, false
	}
	x, y := make([]float64, n), make([]float64, n)
	for i, g := range list {
		x[i], y[i] = float64(i), math.Log(g)
	}
	least := spreadOne
	center, scatter := medianOf(y), 0.0
	switch {
	case n == 2:
		least, scatter = spreadTwo, math.Abs(y[1]-y[0])/2
	case n > 2:
		least = spreadMore
		slope, _, _, _ := theilSen(x, y, z80, 1)
		rest := make([]float64, n)
		for i := range y {
			rest[i] = y[i] - slope*x[i]
		}
		center = medianOf(rest) + slope*float64(n)
		scatter = spread(rest) * math.Sqrt(1+1/float64(n))
	}
	per = math.Exp(center)
	return per, per * math.Hypot(least, scatter), true
}

// combine weighs what this leg shows with what past legs let expect.
func combine(now growth, per, sd float64, known bool) (m, s float64, ok bool) {
	switch {
	case !known && !now.ok, !known && now.slope.Surety < Likely:
		return 0, 0, false
	case !known:
		return now.per, now.sd, now.per > 0
	case !now.ok:
		return per, sd, true
	}
	// A short leg's own limits leave out that growth changes on its way.
	own := math.Hypot(now.sd, ownSpread*max(now.per, per))
	a, b := 1/(own*own), 1/(sd*sd)
	m = (a*now.per + b*per) / (a + b)
	return m, math.Sqrt(1 / (a + b)), m > 0
}

// ownSpread is the least relative spread of a leg's own growth: it changes on
// its way. Set with `weepd proof outlook`.
const ownSpread = 0.25
