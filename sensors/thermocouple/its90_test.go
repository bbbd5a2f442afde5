package thermocouple

import (
	"math"
	"testing"
)

func TestPrintedTables(t *testing.T) {
	for _, c := range []struct {
		typ           Type
		celsius, mv   float64
		places, sense float64 // half the last place, mV; mV/K there
	}{
		// Computed elsewhere from NIST's reference functions, four places.
		{K, -50, -1.8894, 0.5e-4, 0.0370}, {K, 25, 1.0002, 0.5e-4, 0.0405}, {K, 50, 2.0231, 0.5e-4, 0.0412},
		{K, 100, 4.0962, 0.5e-4, 0.0414}, {K, 200, 8.1385, 0.5e-4, 0.0400}, {K, 300, 12.2086, 0.5e-4, 0.0415},
		{K, 500, 20.6443, 0.5e-4, 0.0426},
		{J, -50, -2.4313, 0.5e-4, 0.0465}, {J, 25, 1.2773, 0.5e-4, 0.0517}, {J, 50, 2.5853, 0.5e-4, 0.0526},
		{J, 100, 5.2689, 0.5e-4, 0.0544}, {J, 200, 10.7787, 0.5e-4, 0.0555}, {J, 300, 16.3272, 0.5e-4, 0.0554},
		{J, 500, 27.3926, 0.5e-4, 0.0560},
		// NIST's table type_t.tab, three places; the negative half was seen.
		{T, -200, -5.603, 0.5e-3, 0.0157}, {T, -150, -4.648, 0.5e-3, 0.0224}, {T, -100, -3.379, 0.5e-3, 0.0284},
		{T, -50, -1.819, 0.5e-3, 0.0338}, {T, -77, -2.695, 0.5e-3, 0.0311},
		// NIST's table of 350 °C as a vendor repeats it, three places.
		{K, 350, 14.293, 0.5e-3, 0.0419}, {J, 350, 19.090, 0.5e-3, 0.0552}, {T, 350, 17.819, 0.5e-3, 0.0606}, {N, 350, 11.136, 0.5e-3, 0.0362},
		// The ends of the inverse functions' pieces, in NIST's file.
		{K, 1372, 54.886, 0.5e-3, 0.0341}, {J, 760, 42.919, 0.5e-3, 0.0640}, {J, 1200, 69.553, 0.5e-3, 0.0574}, {J, -210, -8.095, 0.5e-3, 0.0199},
		{T, 400, 20.872, 0.5e-3, 0.0618}, {N, -200, -3.990, 0.5e-3, 0.0099}, {N, 600, 20.613, 0.5e-3, 0.0390}, {N, 1300, 47.513, 0.5e-3, 0.0360},
		{K, -200, -5.891, 0.5e-3, 0.0153},
	} {
		if got := c.typ.MilliVolt(c.celsius); math.Abs(got-c.mv) > c.places+1e-9 {
			t.Errorf("%s at %g °C: %.5f mV, want %g", c.typ, c.celsius, got, c.mv)
		}
		// 0.06 K is what NIST's file states for the inverse at the worst.
		if got := c.typ.Celsius(c.mv); math.Abs(got-c.celsius) > 0.06+c.places/c.sense {
			t.Errorf("%s at %g mV: %.3f °C, want %g", c.typ, c.mv, got, c.celsius)
		}
	}
}

// The errors which NIST's file states for each piece of the inverse functions
// (as transcriptions of it repeat them), and a hundredth for its rounding.
func TestThereAndBack(t *testing.T) {
	for _, c := range []struct {
		typ              Type
		from, to         float64
		lowest, greatest float64
	}{
		{K, -200, 0, -0.02, 0.04}, {K, 0, 500, -0.05, 0.04}, {K, 500, 1372, -0.05, 0.06},
		{J, -210, 0, -0.05, 0.03}, {J, 0, 760, -0.04, 0.04}, {J, 760, 1200, -0.04, 0.03},
		{T, -200, 0, -0.02, 0.04}, {T, 0, 400, -0.03, 0.03},
		{N, -200, 0, -0.02, 0.03}, {N, 0, 600, -0.02, 0.03}, {N, 600, 1300, -0.04, 0.02},
	} {
		var low, high float64
		for c0 := c.from + 0.05; c0 < c.to; c0 += 0.25 {
			err := c.typ.Celsius(c.typ.MilliVolt(c0)) - c0
			low, high = min(low, err), max(high, err)
			if math.IsNaN(err) {
				t.Fatalf("%s at %g °C has no way back", c.typ, c0)
			}
		}
		if low < c.lowest-0.01 || high > c.greatest+0.01 {
			t.Errorf("%s from %g to %g °C: errors %.3f to %.3f K, want %.2f to %.2f", c.typ, c.from, c.to, low, high, c.lowest, c.greatest)
		}
	}
}

func TestOutsideIsNaN(t *testing.T) {
	for _, got := range []float64{
		K.MilliVolt(-201), K.MilliVolt(1373), K.Celsius(-6), K.Celsius(60), Type(9).MilliVolt(20), Type(9).Celsius(1),
		J.Celsius(math.NaN()), N.MilliVolt(math.Inf(1)),
	} {
		if !math.IsNaN(got) {
			t.Errorf("got %g", got)
		}
	}
}

func TestParseType(t *testing.T) {
	for _, typ := range []Type{K, J, T, N} {
		if got, err := ParseType(typ.String()); got != typ || err != nil {
			t.Errorf("%s: %v, %v", typ, got, err)
		}
	}
	for _, s := range []string{"", "B", "type(2)"} {
		if _, err := ParseType(s); err == nil {
			t.Errorf("%q is a type", s)
		}
	}
}
