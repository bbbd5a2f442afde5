package proof

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mathext"
)

// Cusum is Page's test (1954) for a change of a drip from one rate to another
// by one who knows both and the shape of its gamma intervals: the earliest that
// a change can be known for its rate of false alarms (Lorden 1971, Moustakides
// 1986). A silence is evidence of a lower rate while it lasts.
type Cusum struct {
	Shape     float64
	From, To  float64 // drops per second
	Threshold float64
}

// gain is the log likelihood ratio of an interval of x seconds.
func (c Cusum) gain(x float64) float64 {
	return c.Shape * (math.Log(c.To/c.From) - (c.To-c.From)*x)
}

// silence is the log ratio of the chances that an interval is longer than x.
func (c Cusum) silence(x float64) float64 {
	return logTail(c.Shape, c.Shape*c.To*x) - logTail(c.Shape, c.Shape*c.From*x)
}

// logTail is ln Q(shape, z), the upper regularised incomplete gamma function,
// by its continued fraction (Lentz's method) where it is small.
func logTail(shape, z float64) float64 {
	if z < shape+1 {
		return math.Log(mathext.GammaIncRegComp(shape, z))
	}
	const tiny = 1e-300
	b := z + 1 - shape
	c, d := 1/tiny, 1/b
	h := d
	for i := 1.0; i < 500; i++ {
		an := -i * (i - shape)
		b += 2
		d = 1 / nonzero(an*d+b, tiny)
		c = nonzero(b+an/c, tiny)
		step := d * c
		h *= step
		if math.Abs(step-1) < 1e-14 {
			break
		}
	}
	lg, _ := math.Lgamma(shape)
	return shape*math.Log(z) - z - lg + math.Log(h)
}

func nonzero(v, tiny float64) float64 {
	if math.Abs(v) < tiny {
		return tiny
	}
	return v
}

// patience is how long an interval may grow before the silence alone raises the
// alarm when the sum was s at its beginning; +Inf on the high side.
func (c Cusum) patience(s float64) float64 {
	if c.To > c.From {
		return math.Inf(1)
	}
	low, high := 0.0, 1/c.From
	for c.silence(high) < c.Threshold-s {
		high *= 2
	}
	for high-low > 1e-9*high {
		if mid := (low + high) / 2; c.silence(mid) < c.Threshold-s {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// Simulated is the time to the alarm from the sum 0 at a rate that holds.
func (c Cusum) Simulated(rng *rand.Rand, rate float64) float64 {
	unit := newGammaUnit(c.Shape)
	for s, t := 0.0, 0.0; ; {
		x := unit.draw(rng) / rate
		if c.To < c.From && c.silence(x) >= c.Threshold-s {
			return t + c.patience(s)
		}
		t += x
		if s = max(0, s+c.gain(x)); s >= c.Threshold {
			return t
		}
	}
}
