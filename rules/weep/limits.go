package weep

import "time"

// limits keeps what the limits of a rate are made of: the same counts come again and
// again at all glands of a station, and a quantile takes longer than all else that a
// look at a gland needs. It is a memory only: it changes no result.
type limits map[limitsKey]limitsOf

type limitsKey struct {
	drops uint32
	step  int8 // of the shape
}

type limitsOf struct{ low, high float64 } // of a gamma variable of unit rate

// limitsMost bounds the memory: the drops of a minute at some regularities.
const limitsMost = 1024

func (l limits) of(n uint32, step int8) limitsOf {
	key := limitsKey{n, step}
	if known, found := l[key]; found {
		return known
	}
	if len(l) >= limitsMost {
		clear(l)
	}
	found := limitsFor(float64(n), shapeAt(int(step)))
	l[key] = found
	return found
}

// limitsFor gives the 95 % limits of n drops in units of the mean interval.
func limitsFor(n, shape float64) limitsOf {
	found := limitsOf{high: gammaQuantile(0.975, (n+1)*shape) / shape}
	if n > 0 {
		found.low = gammaQuantile(0.025, n*shape) / shape
	}
	return found
}

// Known is Counter.Known since the latest change, with the regularity in use.
func (d *Detector) Known(c *Counter, now time.Duration) (Rate, bool) {
	drops, minutes, ok := c.lately(now, d.onset)
	if !ok {
		return Rate{}, false
	}
	l := d.limits.of(drops, d.shape)
	return Rate{DPM: float64(drops) / minutes, LowDPM: l.low / minutes, HighDPM: l.high / minutes}, true
}
