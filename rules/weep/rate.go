package weep

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mathext"
)

// Rate is a weep with its 95 % two-sided limits, drops per minute.
type Rate struct {
	DPM, LowDPM, HighDPM float64
}

// Counter keeps the last drops to say what is known of the weep now.
type Counter struct {
	at    [rows]time.Duration // of a row of drops, a ring
	total [rows]uint32        // drops counted up to and with that row
	next  uint8               // where the next row goes
	used  uint8
	sum   uint32
	begun bool
}

const (
	rows = 36
	// window is how far back the rate looks: at the least weep of natural
	// packing, 15 a minute, it holds 15 drops.
	window = 60 * time.Second
	// A drop or two just after counting began would make a rate of hundreds, and
	// none a rate of zero.
	soon = 3 * time.Second
	few  = 4
)

// Restart forgets the drops: counting begins anew at a moment.
func (c *Counter) Restart(at time.Duration) {
	*c = Counter{}
	c.put(at, 0)
}

// Add counts n drops seen at a moment.
func (c *Counter) Add(at time.Duration, n int) {
	if !c.begun {
		c.Restart(at)
		return
	}
	c.put(at, uint32(n))
}

func (c *Counter) put(at time.Duration, n uint32) {
	c.sum += n
	c.at[c.next], c.total[c.next] = at, c.sum
	if c.next++; c.next == rows {
		c.next = 0
	}
	c.used = min(c.used+1, rows)
	c.begun = true
}

// putAll puts single drops, of which only the last stay.
func (c *Counter) putAll(drops []time.Duration) {
	forgotten := max(0, len(drops)-rows)
	c.sum += uint32(forgotten)
	c.next = uint8((int(c.next) + forgotten) % rows)
	next, sum := c.next, c.sum
	for _, at := range drops[forgotten:] {
		sum++
		c.at[next], c.total[next] = at, sum
		if next++; next == rows {
			next = 0
		}
	}
	c.next, c.sum = next, sum
	if len(drops) > 0 {
		c.used, c.begun = uint8(min(int(c.used)+len(drops), rows)), true
	}
}

// back is the index of the i-th row before the newest.
func (c *Counter) back(i int) int { return (int(c.next) + 2*rows - 1 - i) % rows }

// Known gives the weep at a moment from the drops of the last minute but not
// before since, the latest known change. shape is the regularity of the
// intervals (1 = Poisson). ok is false when nothing, or next to nothing, has been watched yet.
//
// The window begins at a drop, so n drops in time T are n whole intervals. The
// limits are exact for gamma intervals and, at shape 1, are Garwood's (1936)
// for a Poisson count: chi-squared(0.025; 2n)/2 and chi-squared(0.975; 2n+2)/2
// over T. With no drop since the last one the upper limit falls as 1/T.
func (c *Counter) Known(now, since time.Duration, shape float64) (Rate, bool) {
	drops, minutes, ok := c.lately(now, since)
	if !ok {
		return Rate{}, false
	}
	return Limits(float64(drops), minutes, shape), true
}

// lately gives the drops and the minutes that Known reckons with.
func (c *Counter) lately(now, since time.Duration) (drops uint32, minutes float64, ok bool) {
	if !c.begun {
		return 0, 0, false
	}
	oldest := 0
	for i := 1; i < int(c.used); i++ {
		if t := c.at[c.back(i)]; t < now-window || t < since {
			break
		}
		oldest = i
	}
	from := c.back(oldest)
	elapsed := now - c.at[from]
	drops = c.sum - c.total[from]
	if fromStart := oldest == int(c.used)-1; elapsed <= 0 || fromStart && elapsed < soon && drops < few {
		return 0, 0, false
	}
	return drops, elapsed.Minutes(), true
}

// Limits gives the rate of n drops in so many minutes with its 95 % limits,
// for gamma intervals of a shape.
func Limits(n, minutes, shape float64) Rate {
	l := limitsFor(n, shape)
	return Rate{DPM: n / minutes, LowDPM: l.low / minutes, HighDPM: l.high / minutes}
}

// gammaQuantile is the p-quantile of a gamma variable of unit rate; for large
// shapes by Wilson and Hilferty (1931), which is then good to 1e-4.
func gammaQuantile(p, shape float64) float64 {
	if shape > 1000 {
		z := math.Sqrt2 * math.Erfinv(2*p-1)
		q := 1 - 1/(9*shape) + z/(3*math.Sqrt(shape))
		return shape * q * q * q
	}
	return mathext.GammaIncRegInv(shape, p)
}

// Burst reports whether so many of the last drops fell within a span.
func (c *Counter) Burst(drops uint32, span time.Duration) bool {
	newest := c.back(0)
	for i := 1; i < int(c.used); i++ {
		j := c.back(i)
		if c.at[newest]-c.at[j] > span {
			return false
		}
		if c.total[newest]-c.total[j] >= drops {
			return true
		}
	}
	return false
}
