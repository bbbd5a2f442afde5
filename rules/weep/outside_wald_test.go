package weep

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Wald, Sequential Analysis, 1947: a test with error chances alpha and beta has
// its boundaries near ln((1-beta)/alpha) and ln(beta/(1-alpha)); formula from
// memory, values computed apart from this code.
func waldBoundaries(alpha, beta float64) (accept, reject float64) {
	return math.Log((1 - beta) / alpha), math.Log(beta / (1 - alpha))
}

func TestWaldBoundaries(t *testing.T) {
	for _, w := range []struct{ alpha, beta, accept, reject float64 }{
		{0.05, 0.05, 2.944439, -2.944439},
		{0.01, 0.05, 4.553877, -2.985682},
	} {
		accept, reject := waldBoundaries(w.alpha, w.beta)
		if math.Abs(accept-w.accept) > 1e-6 || math.Abs(reject-w.reject) > 1e-6 {
			t.Errorf("%g, %g: %f and %f, want %f and %f", w.alpha, w.beta, accept, reject, w.accept, w.reject)
		}
	}
}

// The log likelihood ratio of a Poisson stream is n ln(l1/l0) - (l1 - l0) T
// (Wald 1947): the model's pure part at shape 1, and a table of it, give that.
func TestLikelihoodRatioIsWalds(t *testing.T) {
	const rate0, rate1 = 10.0 / 60, 60.0 / 60 // drops per second
	var gain table
	gain.fill(func(y float64) float64 {
		x := y / rate0
		return logGamma(x, 1, rate1) - logGamma(x, 1, rate0)
	})
	rng := rand.New(rand.NewPCG(1, 1))
	n, elapsed, pure, tabled := 0.0, 0.0, 0.0, 0.0
	for range 500 {
		x := 0.2 + rng.ExpFloat64() // above the table's first node
		n++
		elapsed += x
		pure += logGamma(x, 1, rate1) - logGamma(x, 1, rate0)
		tabled += gain.at(locate(x * rate0))
	}
	want := n*math.Log(rate1/rate0) - (rate1-rate0)*elapsed
	if math.Abs(pure-want) > 1e-9 || math.Abs(tabled-want) > 1e-3 {
		t.Errorf("the model gives %f, its table %f, want %f", pure, tabled, want)
	}
}

// 10 against 60 drops per minute at errors of 5 %: with no drop at all the lower
// rate is accepted after 0.05889 minutes (computed from Wald's formula). The
// model's silence and the test for the way back both say so.
func TestSilenceDecidesWhenWaldSays(t *testing.T) {
	const rate0, rate1 = 10.0 / 60, 60.0 / 60
	_, reject := waldBoundaries(0.05, 0.05)
	const seconds = 60 * 0.05889
	if got := logGammaTail(1, rate1*seconds) - logGammaTail(1, rate0*seconds); math.Abs(got-reject) > 1e-3 {
		t.Errorf("silence of %g s gives %f, want %f", seconds, got, reject)
	}
	back := newRecovery(rate1, rate0)
	if got := back.silenceNeeded().Seconds() * -reject / recoveryThreshold; math.Abs(got-seconds) > 1e-3 {
		t.Errorf("the way back needs %f s of silence for 5 %%, want %f", got, seconds)
	}
	// The threshold of the way back is Wald's for 1 wrong return in 1,000.
	if accept, _ := waldBoundaries(0.001, 0.001); math.Abs(recoveryThreshold-accept) > 0.01 {
		t.Errorf("threshold %f, want %f", recoveryThreshold, accept)
	}
}

// Played with the code's likelihood ratio, Wald's test keeps his inequality: the
// two chances of error are at most alpha/(1-beta) and beta/(1-alpha).
func TestWaldErrorsAreKept(t *testing.T) {
	const rate0, rate1, alpha, beta, runs = 0.5, 1.0, 0.05, 0.05, 4000
	accept, reject := waldBoundaries(alpha, beta)
	rng := rand.New(rand.NewPCG(2, 1))
	errorShare := func(rate float64, wrong func(sum float64) bool) float64 {
		errors := 0.0
		for range runs {
			sum := 0.0
			for sum < accept && sum > reject {
				x := rng.ExpFloat64() / rate
				sum += logGamma(x, 1, rate1) - logGamma(x, 1, rate0)
			}
			if wrong(sum) {
				errors++
			}
		}
		return errors / runs
	}
	most := alpha / (1 - beta)
	slack := 4 * math.Sqrt(most/runs)
	if got := errorShare(rate0, func(sum float64) bool { return sum >= accept }); got > most+slack || got < most/4 {
		t.Errorf("false acceptance %f, want at most %f and not far below", got, most)
	}
	if got := errorShare(rate1, func(sum float64) bool { return sum <= reject }); got > most+slack || got < most/4 {
		t.Errorf("false rejection %f, want at most %f and not far below", got, most)
	}
}
