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

// logDensity is the log density of an interval of x > 0 seconds.
func logDensity(x, shape, rate float64) float64 {
	return logAdd(logSplash(x), math.Log(rate)+logUnitDensity(rate*x, shape))
}

// logSplash is the log density of a splash x seconds after its drop.
func logSplash(x float64) float64 {
	if x < splashWithin {
		return math.Log(splashShare / splashWithin)
	}
	return math.Inf(-1)
}

// logUnitDensity is the log density at u, in mean intervals, of what is no splash.
func logUnitDensity(u, shape float64) float64 {
	var terms [mostMissed + 1]float64
	most, logU, logShape := math.Inf(-1), math.Log(u), math.Log(shape)
	for missed := range terms {
		k := shape * float64(missed+1)
		lg, _ := math.Lgamma(k)
		terms[missed] = logShare(missed) + k*logShape + (k-1)*logU - shape*u - lg
		most = max(most, terms[missed])
	}
	sum := 0.0
	for _, term := range terms {
		sum += math.Exp(term - most)
	}
	return most + math.Log(sum)
}

// logShare is the log share of intervals in which so many drops were missed.
func logShare(missed int) float64 {
	return math.Log((1-splashShare)*(1-missedShare)) + float64(missed)*math.Log(missedShare)
}

// logSurvival is the log probability that an interval is longer than x seconds.
func logSurvival(x, shape, rate float64) float64 {
	return logAdd(logSplashLater(x), logUnitSurvival(rate*x, shape))
}

func logSplashLater(x float64) float64 {
	if x < splashWithin {
		return math.Log(splashShare * (1 - x/splashWithin))
	}
	return math.Inf(-1)
}

// logUnitSurvival is the log probability of more than u, in mean intervals, for what
// is no splash.
func logUnitSurvival(u, shape float64) float64 {
	sum := math.Inf(-1)
	for missed := range mostMissed + 1 {
		sum = logAdd(sum, logShare(missed)+logGammaTail(shape*float64(missed+1), shape*u))
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
