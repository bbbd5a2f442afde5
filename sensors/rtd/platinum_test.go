package rtd

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Ω of a Pt100 by IEC 60751's coefficients, computed elsewhere to four places
// (the table of the standard prints two).
var pt100 = map[float64]float64{
	-200: 18.5201, -100: 60.2558, -50: 80.3063, 0: 100, 25: 109.7347, 50: 119.3971, 80: 130.8968,
	100: 138.5055, 150: 157.3251, 200: 175.8560, 300: 212.0515, 400: 247.0920, 850: 390.4811,
}

func TestPt100Table(t *testing.T) {
	for c, ohm := range pt100 {
		if got := OhmAt(c, 100); math.Abs(got-ohm) > 0.5e-4 {
			t.Errorf("%g °C: %.5f Ω, want %.4f", c, got, ohm)
		}
		// Half a step of the table's last place is 0.13 mK at the least slope.
		if got := CelsiusAt(ohm, 100); math.Abs(got-c) > 2e-4 {
			t.Errorf("%g Ω: %.5f °C, want %g", ohm, got, c)
		}
		if got := CelsiusAt(10*ohm, 1000); math.Abs(got-c) > 2e-4 {
			t.Errorf("Pt1000, %g Ω: %.5f °C, want %g", 10*ohm, got, c)
		}
	}
}

func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(LowestC, HighestC).Draw(t, "c")
		r0 := rapid.SampledFrom([]float64{100, 1000}).Draw(t, "r0")
		if back := CelsiusAt(OhmAt(c, r0), r0); math.Abs(back-c) > 1e-6 {
			t.Fatalf("%g °C comes back as %g", c, back)
		}
	})
}

func TestNoTemperatureHasThatResistance(t *testing.T) {
	if got := CelsiusAt(1e6, 100); !math.IsNaN(got) {
		t.Errorf("1 MΩ is %g °C, want NaN", got)
	}
	if got := CelsiusAt(0, 100); !(got < LowestC && got > -250) {
		t.Errorf("0 Ω is %g °C, want something below %d", got, LowestC)
	}
}
