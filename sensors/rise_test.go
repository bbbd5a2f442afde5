package sensors

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestRiseOf(t *testing.T) {
	cases := []struct {
		before, now uint64
		bits        uint
		rise        uint64
		what        Rise
	}{
		{10, 10, 16, 0, Rose},
		{10, 13, 16, 3, Rose},
		{65535, 0, 16, 1, Rose},
		{65530, 5, 16, 11, Rose},
		{4294967295, 2, 32, 3, Rose},
		{math.MaxUint64, 1, 64, 2, Rose},
		{3, 0, 16, 0, WasSet},
		{3, 0, 32, 0, WasSet},
		{60000, 2, 16, 0, WasSet},
		{65535, 0, 32, 0, WasSet},
		{1e9, 0, 64, 0, WasSet},
		{3, 60000, 16, 0, TooFast},
		{3, 104, 64, 0, TooFast},
	}
	for _, c := range cases {
		if rise, what := RiseOf(c.before, c.now, c.bits, 100); rise != c.rise || what != c.what {
			t.Errorf("RiseOf(%d, %d, %d bits) = %d, %d; want %d, %d", c.before, c.now, c.bits, rise, what, c.rise, c.what)
		}
	}
}

// However often it wraps around, what is found is what was counted.
func TestRisesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]uint{16, 32, 64}).Draw(t, "bits")
		shown := func(n uint64) uint64 {
			if bits == 64 {
				return n
			}
			return n % (1 << bits)
		}
		count := rapid.Uint64().Draw(t, "start")
		for range rapid.IntRange(1, 100).Draw(t, "readings") {
			drops := rapid.Uint64Range(0, 1000).Draw(t, "drops")
			if rise, what := RiseOf(shown(count), shown(count+drops), bits, 1000); rise != drops || what != Rose {
				t.Fatalf("%d bits, from %d by %d: got %d, %d", bits, count, drops, rise, what)
			}
			count += drops
		}
	})
}
