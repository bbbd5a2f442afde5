package weep

import (
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// drip is a renewal process of drops with gamma intervals, splash and misses.
type drip struct {
	rng            *rand.Rand
	shape          float64
	splash, missed float64
	now            float64 // s, last true drop
	pending        []float64
}

func newDrip(seed uint64, shape, splash, missed float64) *drip {
	return &drip{rng: rand.New(rand.NewPCG(seed, 7)), shape: shape, splash: splash, missed: missed}
}

// next gives the time in seconds of the next counted drop at a weep of dpm.
func (p *drip) next(dpm func(t float64) float64) float64 {
	for {
		first := 0
		for i, t := range p.pending {
			if t < p.pending[first] {
				first = i
			}
		}
		if len(p.pending) > 0 && p.pending[first] <= p.now {
			t := p.pending[first]
			p.pending = append(p.pending[:first], p.pending[first+1:]...)
			return t
		}
		p.fall(dpm(p.now) / 60)
	}
}

// fall lets the next drop fall and decides what the sensor makes of it.
func (p *drip) fall(rate float64) {
	p.now += distuv.Gamma{Alpha: p.shape, Beta: p.shape * rate, Src: p.rng}.Rand()
	if p.rng.Float64() >= p.missed {
		p.pending = append(p.pending, p.now)
	}
	if p.rng.Float64() < p.splash {
		p.pending = append(p.pending, p.now+0.04+0.11*p.rng.Float64())
	}
}

func at(s float64) time.Duration { return time.Duration(s * 1e9) }

// follow plays the passing of time up to t and then a drop at t, as the core
// does, and reports the first moment at which out is true.
func follow(d *Detector, t float64, out func() bool) (found float64, was bool) {
	for dead, ok := d.Deadline(); ok && dead < at(t) && !was; dead, ok = d.Deadline() {
		d.Silent(dead)
		found, was = dead.Seconds(), out()
	}
	d.Drops(at(t), 1)
	if !was && out() {
		found, was = t, true
	}
	return found, was
}

// logGamma is the log density at x > 0 of a gamma variable of the given shape
// whose rate parameter is rate (mean shape/rate).
func logGamma(x, shape, rate float64) float64 {
	lg, _ := math.Lgamma(shape)
	return shape*math.Log(rate) + (shape-1)*math.Log(x) - rate*x - lg
}
