package proof

import (
	"math"
	"math/rand/v2"
)

// Drip is a renewal process of drops with gamma intervals of mean 1/rate, as a
// sensor counts it: some drops splash and count twice, some are missed. When
// the rate changes, what is left of the interval in progress stretches or
// shrinks with it.
type Drip struct {
	rng            *rand.Rand
	unit           gammaUnit
	splash, missed float64 // shares of the drops
	rate           float64 // drops per second
	next           float64 // s, the next real drop
	splashAt       float64 // s, the next splash; +Inf = none
	changeAt       float64 // s, when the rate changes; +Inf = never
	changeDPM      float64
}

// A splash lands this long after its drop, s (invented, as sensors/simulated).
const (
	splashFirst = 0.04
	splashLast  = 0.15
)

// NewDrip makes a drip that began long before time 0, with shares of splash and
// missed drops.
func NewDrip(rng *rand.Rand, shape, dpm, splash, missed float64) *Drip {
	d := &Drip{
		rng: rng, unit: newGammaUnit(shape), splash: splash, missed: missed,
		rate: dpm / 60, splashAt: math.Inf(1), changeAt: math.Inf(1),
	}
	// The interval that a moment falls into is longer than usual: length-biased,
	// and the moment is anywhere in it.
	biased := newGammaUnit(shape + 1)
	d.next = rng.Float64() * biased.draw(rng) * (shape + 1) / shape / d.rate
	return d
}

// SetRate changes the rate at a moment not after the next drop.
func (d *Drip) SetRate(now, dpm float64) {
	rate := dpm / 60
	d.next = now + (d.next-now)*d.rate/rate
	d.rate = rate
}

// Plan has the rate change at a moment yet to come.
func (d *Drip) Plan(at, dpm float64) {
	d.changeAt, d.changeDPM = at, dpm
	d.change()
}

// change makes the planned change once nothing comes before it.
func (d *Drip) change() {
	if d.Due() > d.changeAt {
		d.SetRate(d.changeAt, d.changeDPM)
		d.changeAt = math.Inf(1)
	}
}

// Due is when Take will have a drop or a splash, s.
func (d *Drip) Due() float64 { return min(d.next, d.splashAt) }

// Take passes to Due and reports whether the sensor counts there.
func (d *Drip) Take() (counted bool) {
	counted = d.take()
	d.change()
	return counted
}

func (d *Drip) take() (counted bool) {
	if d.splashAt <= d.next {
		d.splashAt = math.Inf(1)
		return true
	}
	now := d.next
	d.next += d.unit.draw(d.rng) / d.rate
	u := d.rng.Float64()
	if u < d.missed {
		return false
	}
	if u > 1-d.splash {
		d.splashAt = min(d.splashAt, now+splashFirst+(splashLast-splashFirst)*d.rng.Float64())
	}
	return true
}

// Next gives the time of the next counted drop, s.
func (d *Drip) Next() float64 {
	for {
		at := d.Due()
		if d.Take() {
			return at
		}
	}
}

// gammaUnit draws gamma variables of mean 1, by Marsaglia and Tsang, "A simple
// method for generating gamma variables", 2000 (from memory; its moments are
// tested). The shape is at least 1.
type gammaUnit struct{ shape, d, c float64 }

func newGammaUnit(shape float64) gammaUnit {
	d := shape - 1.0/3
	return gammaUnit{shape: shape, d: d, c: 1 / math.Sqrt(9*d)}
}

func (g gammaUnit) draw(rng *rand.Rand) float64 {
	if g.shape == 1 {
		return rng.ExpFloat64()
	}
	for {
		x := rng.NormFloat64()
		v := 1 + g.c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		u := 1 - rng.Float64()
		if u < 1-0.0331*x*x*x*x || math.Log(u) < 0.5*x*x+g.d*(1-v+math.Log(v)) {
			return g.d * v / g.shape
		}
	}
}
