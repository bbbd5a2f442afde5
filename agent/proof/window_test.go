package proof

import (
	"math"
	"math/rand/v2"
	"testing"
)

// With Poisson drops windows are independent: one is beyond with the Poisson
// tail's chance p, and two in a row take (1 + p)/p² windows on average (Feller,
// runs of successes, from memory).
func TestWindowsOfPoissonDrops(t *testing.T) {
	const mean, limit = 10.0, 4 // P(N <= 4) = 0.029253 (Poisson table)
	const p = 0.0292527
	one := Window{Span: 60, InRow: 1, Low: true, Limit: limit}
	if got := one.RunLength(1, mean/60) / 60; math.Abs(got*p-1) > 1e-4 {
		t.Errorf("one window: %f, want %f", got, 1/p)
	}
	two := Window{Span: 60, InRow: 2, Low: true, Limit: limit}
	if got, want := two.RunLength(1, mean/60)/60, (1+p)/(p*p); math.Abs(got/want-1) > 1e-4 {
		t.Errorf("two windows: %f, want %f", got, want)
	}
}

// Regular drops keep their phase from window to window; played, the run length
// is the same.
func TestWindowRunLengthIsWhatIsPlayed(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for _, w := range []Window{
		{Span: 60, InRow: 1, Low: true, Limit: 22, Chance: 0.5},
		{Span: 60, InRow: 2, Low: false, Limit: 33, Chance: 0.25},
	} {
		want := w.RunLength(4, 0.5)
		var played Mean
		for range 1500 {
			// No change: the same weep goes on. The last window before the moment
			// of the change may already be beyond, so that one is not counted.
			played.add(w.Delay(rng, 4, 30, 30))
		}
		if played.Mean > 1.08*want || played.Mean < 0.85*want {
			t.Errorf("%+v: %.0f s, played %.0f ±%.0f", w, want, played.Mean, played.Error)
		}
	}
}

// The limit makes false alarms as often as asked, neither more nor less.
func TestWindowLimitMeetsItsBudget(t *testing.T) {
	for _, w := range []Window{
		{Span: 60, InRow: 1, Low: true}, {Span: 60, InRow: 1},
		{Span: 300, InRow: 2, Low: true}, {Span: 300, InRow: 2},
	} {
		for _, shape := range []int{1, 4} {
			set, err := w.SetLimit(shape, 13.0/60, yearSeconds)
			if err != nil {
				t.Fatal(err)
			}
			if got := set.RunLength(shape, 13.0/60); math.Abs(got/yearSeconds-1) > 1e-3 {
				t.Errorf("%+v, shape %d: one false alarm in %g s, want %g", set, shape, got, yearSeconds)
			}
		}
	}
}
