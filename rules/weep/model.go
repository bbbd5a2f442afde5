package weep

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The model of one interval between counted drops, at a weep of rate drops per
// second and regularity shape: most intervals are gamma distributed with that
// shape (1 = a Poisson stream, large = a clock); a few are a splash following
// its drop; a few are two or more intervals in one because the sensor missed a
// drop or several.
//
// The shares are design constants, chosen to be at least what the detector
// must survive (2 % splash, 2 % missed); a larger share makes it more robust
// and slower. They bound the evidence that any single odd interval can give,
// which is what keeps a regular drip (large shape) from false alarms.
const (
	splashShare  = 0.05
	missedShare  = 0.03
	splashWithin = 0.2 // s; a splash lands within this time of its drop
	mostMissed   = 6   // in a row; one more is rarer than any false-alarm budget
)

// logGamma is the log density at x > 0 of a gamma variable of the given shape
// whose rate parameter is rate (mean shape/rate).
func logGamma(x, shape, rate float64) float64 {
	lg, _ := math.Lgamma(shape)
	return shape*math.Log(rate) + (shape-1)*math.Log(x) - rate*x - lg
}

// logDensity is the log density of an interval of x seconds.
func logDensity(x, shape, rate float64) float64 {
	sum := math.Inf(-1)
	if x < splashWithin {
		sum = math.Log(splashShare / splashWithin)
	}
	share := math.Log((1 - splashShare) * (1 - missedShare))
	for missed := range mostMissed + 1 {
		sum = logAdd(sum, share+logGamma(x, shape*float64(missed+1), shape*rate))
		share += math.Log(missedShare)
	}
	return sum
}

// logSurvival is the log probability that an interval is longer than x seconds.
func logSurvival(x, shape, rate float64) float64 {
	sum := math.Inf(-1)
	if x < splashWithin {
		sum = math.Log(splashShare * (1 - x/splashWithin))
	}
	share := math.Log((1 - splashShare) * (1 - missedShare))
	for missed := range mostMissed + 1 {
		sum = logAdd(sum, share+logGammaTail(shape*float64(missed+1), shape*rate*x))
		share += math.Log(missedShare)
	}
	return sum
}

// logGammaTail is ln Q(shape, z), the upper regularised incomplete gamma
// function; far out, where Q underflows, by its continued fraction's first
// terms (Abramowitz and Stegun 6.5.31, from memory).
func logGammaTail(shape, z float64) float64 {
	if q := mathext.GammaIncRegComp(shape, z); q > 1e-280 {
		return math.Log(q)
	}
	lg, _ := math.Lgamma(shape)
	return (shape-1)*math.Log(z) - z - lg - math.Log1p((1-shape)/z)
}

func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}
