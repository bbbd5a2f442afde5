package simulated

import (
	"math"
	"math/rand/v2"
	"time"
)

const (
	mostDPM = 1000 // drops per minute

	// streamDPM is where drops become a stream: "5 drips/s amounts to a
	// steady stream" (AWWA drip calculator, facts.md C).
	streamDPM = 300

	// A splash comes this long after its drop (invented).
	splashFirst = 40 * time.Millisecond
	splashLast  = 150 * time.Millisecond
)

// counted is what a counter sees of a weep: above streamDPM drops merge, so
// that it sees fewer the more there are (the exponential is invented).
func counted(dpm float64) float64 {
	if dpm <= streamDPM {
		return dpm
	}
	return streamDPM * math.Exp(1-dpm/streamDPM)
}

// intervals draws drop intervals of mean 1 and variance 1/shape: gamma
// distributed, by Marsaglia and Tsang, "A simple method for generating gamma
// variables", 2000 (from memory; its moments are tested).
type intervals struct {
	shape, d, c float64
}

func newIntervals(shape float64) intervals {
	d := max(shape, 1) - 1.0/3
	if shape < 1 {
		d = shape + 1 - 1.0/3
	}
	return intervals{shape: shape, d: d, c: 1 / math.Sqrt(9*d)}
}

func (iv *intervals) draw(rng *rand.Rand) float64 {
	boost := 1.0
	if iv.shape < 1 {
		boost = math.Pow(1-rng.Float64(), 1/iv.shape)
	}
	for {
		x := rng.NormFloat64()
		v := 1 + iv.c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		u := 1 - rng.Float64()
		if u < 1-0.0331*x*x*x*x || math.Log(u) < 0.5*x*x+iv.d*(1-v+math.Log(v)) {
			return boost * iv.d * v / iv.shape
		}
	}
}
