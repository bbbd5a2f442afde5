package proof

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"weepd/rules/upkeep"
)

// Opening is how the weep of a simulated packing grows between adjustments. Only
// the first two are of the kind that the forecaster reckons with; nobody knows
// what a real packing does.
type Opening string

// The ways of growing.
const (
	Even     Opening = "even"     // by the same each day
	Compound Opening = "compound" // by the same share each day
	Slowing  Opening = "slowing"  // with the root of the time since the adjustment
	Ageing   Opening = "ageing"   // faster with the square of the packing's age
	Jumps    Opening = "jumps"    // in jumps at random times
)

// Openings lists them.
func Openings() []Opening { return []Opening{Even, Compound, Slowing, Ageing, Jumps} }

// packing is one simulated packing in its box, with its mechanic.
type packing struct {
	rng      *rand.Rand
	opening  Opening
	leak     float64 // drops per minute
	start    float64
	level    float64 // without the wander
	base     float64 // just after the last adjustment
	grow     float64 // drops per minute a day at the first
	faster   float64 // growth from each adjustment to the next, a factor
	scatter  float64 // of that, standard deviation of its logarithm
	pace     float64 // of this leg
	cut      float64 // ln that a flat takes off at the first
	fading   float64 // of that, by each adjustment or by the travel used
	byTravel bool    // which
	travel   float64 // flats there are in the box
	limited  bool    // the follower stops there, and the configuration says so

	wander, sd, hang float64 // log of the wander, its deviation, its correlation by the hour
	shape            float64 // of the drops
	duty             float64 // share of the hours in which the pump runs

	used    float64 // flats
	turns   int     // adjustments
	age     float64 // days
	since   float64 // days since the last adjustment
	short   int     // intervals in a row that were too short
	waits   float64 // days until the mechanic comes; < 0: not called
	spent   string  // why it is; empty: it is not
	crossed bool    // the weep has reached the most allowed in this leg
}

// newPacking draws a packing; the same index gives the same.
func newPacking(index int) *packing {
	rng := rand.New(rand.NewPCG(uint64(index), 0x7061636b))
	all := Openings()
	p := &packing{rng: rng, opening: all[index%len(all)], leak: []float64{40, 60, 80}[rng.IntN(3)], waits: -1}
	p.start = p.leak * between(rng, 0.35, 0.6)
	first := between(rng, 12, 45) // days from new to the first adjustment
	p.grow = (p.leak - p.start) / first
	p.faster, p.scatter = between(rng, 1.08, 1.3), between(rng, 0.05, 0.3)
	p.cut, p.fading = between(rng, 0.35, 0.9), between(rng, 0.03, 0.12)
	p.byTravel, p.limited = rng.IntN(2) == 0, rng.IntN(2) == 0
	p.travel = between(rng, 14, 40)
	p.sd, p.hang = between(rng, 0.03, 0.1), math.Exp(-1/between(rng, 6, 30))
	p.shape, p.duty = between(rng, 1, 6), []float64{1, 1, 0.7, 0.4}[rng.IntN(4)]
	p.level, p.base = p.start, p.start
	p.wander = p.sd * rng.NormFloat64()
	p.newPace()
	return p
}

func (p *packing) newPace() {
	p.pace = p.grow * math.Pow(p.faster, float64(p.turns)) * math.Exp(p.scatter*p.rng.NormFloat64())
}

// config is what the forecaster is told.
func (p *packing) config() upkeep.Config {
	c := upkeep.Config{NormalDPM: p.leak / 2, DryDPM: p.leak / 4, LeakDPM: p.leak}
	if p.limited {
		c.Nuts = upkeep.Nuts{PitchMM: 3, Flats: 6, TravelMM: float32(p.travel / 2)}
	}
	return c
}

// hour passes one.
func (p *packing) hour() {
	const h = 1.0 / 24
	p.age, p.since = p.age+h, p.since+h
	d := p.pace * h
	switch p.opening {
	case Even:
	case Compound:
		d *= p.level / (0.6 * p.leak)
	case Slowing:
		whole := (p.leak - p.base) / p.pace // days if it were even
		d *= 0.5 * math.Sqrt(max(whole, 1)/max(p.since, h))
	case Ageing:
		d *= 0.5 + (p.age/60)*(p.age/60)
	case Jumps:
		const every = 2.0 // days
		if p.rng.Float64() < h/every {
			d = p.pace * every * p.rng.ExpFloat64()
		} else {
			d = 0
		}
	}
	p.level += d
	p.crossed = p.crossed || p.level >= p.leak
	p.wander = p.hang*p.wander + math.Sqrt(1-p.hang*p.hang)*p.sd*p.rng.NormFloat64()
	if p.crossed && p.waits < 0 {
		p.waits = min(p.rng.ExpFloat64(), 4) // the mechanic comes with the next round or so
	}
}

// bucket is what the sensor counts in the hour that ends at a time.
func (p *packing) bucket(end time.Duration) upkeep.Bucket {
	b := upkeep.Bucket{From: end - time.Hour, To: end}
	if p.rng.Float64() >= p.duty {
		return b
	}
	b.Watched = time.Hour
	daily := 1 + 0.03*math.Sin(2*math.Pi*p.age)
	mean := 60 * p.level * daily * math.Exp(p.wander)
	b.Drops = uint32(max(0, math.Round(mean+math.Sqrt(mean/p.shape)*p.rng.NormFloat64())))
	return b
}

// perFlat is what a flat takes off at present, as a logarithm.
func (p *packing) perFlat() float64 {
	now := p.cut * math.Exp(-p.fading*float64(p.turns))
	if p.byTravel {
		now = p.cut * max(0, 1-p.used/p.travel)
	}
	return now * math.Exp(0.15*p.rng.NormFloat64())
}

// mechanic comes when called and turns a flat at a time until it looks well.
func (p *packing) mechanic() (flats float64, came bool) {
	if p.waits < 0 {
		return 0, false
	}
	if p.waits -= 1.0 / 24; p.waits > 0 {
		return 0, false
	}
	const most = 4
	for flats < most && p.level > 0.65*p.leak {
		if p.limited && p.used+1 > p.travel {
			p.spent = "travel"
			break
		}
		p.level *= math.Exp(-p.perFlat())
		p.used++
		flats++
	}
	p.done()
	return flats, flats > 0
}

// done begins the next leg, or finds the packing spent: by the same words as
// upkeep.Forecast's.
func (p *packing) done() {
	p.short++
	if p.since >= upkeep.ShortestInterval.Hours()/24 {
		p.short = 0
	}
	switch {
	case p.spent != "":
	case p.level >= p.leak:
		p.spent = "effect"
	case p.short >= 2:
		p.spent = "interval"
	}
	p.turns++
	p.base, p.since, p.waits, p.crossed = p.level, 0, -1, false
	p.newPace()
}

func (p *packing) String() string {
	return fmt.Sprintf("%s: %.0f drops/min at most, %.0f%% faster each, wander %.2f", p.opening, p.leak, 100*(p.faster-1), p.sd)
}
