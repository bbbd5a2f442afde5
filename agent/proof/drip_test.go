package proof

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A gamma variable of mean 1 and shape k has variance 1/k and third central
// moment 2/k².
func TestGammaMoments(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, shape := range []float64{1, 1.5, 4, 12} {
		unit := newGammaUnit(shape)
		const n = 400000
		m1, m2, m3 := 0.0, 0.0, 0.0
		for range n {
			x := unit.draw(rng) - 1
			m1 += x / n
			m2 += x * x / n
			m3 += x * x * x / n
		}
		if math.Abs(m1) > 0.006 || math.Abs(m2*shape-1) > 0.03 || math.Abs(m3*shape*shape/2-1) > 0.12 {
			t.Errorf("shape %g: moments %f %f %f, want 0 %f %f", shape, m1, m2, m3, 1/shape, 2/shape/shape)
		}
	}
}

// A drip that began long ago: from any moment the next drop is (1 + 1/k)/2 mean
// intervals away (renewal theory: the mean residual life is E[X²]/(2 E[X])).
func TestDripIsStationary(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	for _, shape := range []float64{1, 4} {
		const n = 100000
		sum := 0.0
		for range n {
			sum += NewDrip(rng, shape, 60, 0, 0).Due()
		}
		if want := (1 + 1/shape) / 2; math.Abs(sum/n/want-1) > 0.02 {
			t.Errorf("shape %g: first drop after %f s, want %f", shape, sum/n, want)
		}
	}
}

// Splash adds its share, misses take theirs, and a change counts from its moment.
func TestDripCounts(t *testing.T) {
	d := NewDrip(rand.New(rand.NewPCG(3, 1)), 4, 30, 0.02, 0.05)
	const change, end = 200000.0, 400000.0
	d.Plan(change, 90)
	before, after, last := 0.0, 0.0, 0.0
	for {
		at := d.Next()
		if at < last {
			t.Fatalf("a drop at %f after one at %f", at, last)
		}
		if last = at; at > end {
			break
		}
		if at < change {
			before++
		} else {
			after++
		}
	}
	share := 1 - 0.05 + 0.02
	if want := share * change * 0.5; math.Abs(before/want-1) > 0.01 {
		t.Errorf("%g drops before the change, want %g", before, want)
	}
	if want := share * (end - change) * 1.5; math.Abs(after/want-1) > 0.01 {
		t.Errorf("%g drops after the change, want %g", after, want)
	}
}
