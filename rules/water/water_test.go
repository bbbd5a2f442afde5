package water

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

// TestRegion1 holds the equations to R7-97 table 5 (nine digits).
func TestRegion1(t *testing.T) {
	for _, c := range []struct{ k, mpa, volume, enthalpy, heat float64 }{
		{300, 3, 0.100215168e-2, 0.115331273e3, 0.417301218e1},
		{300, 80, 0.971180894e-3, 0.184142828e3, 0.401008987e1},
		{500, 3, 0.120241800e-2, 0.975542239e3, 0.465580682e1},
	} {
		w, ok := LiquidAt(c.k-273.15, c.mpa*10)
		if !ok {
			t.Fatalf("%g K, %g MPa: not known", c.k, c.mpa)
		}
		near(t, "volume", 1/w.Density, c.volume, 1e-8)
		near(t, "enthalpy", w.Enthalpy, c.enthalpy, 1e-8)
		near(t, "heat capacity", w.Heat, c.heat, 1e-8)
	}
}

// TestSaturation holds the equations to R7-97 tables 35 and 36.
func TestSaturation(t *testing.T) {
	for k, mpa := range map[float64]float64{300: 0.353658941e-2, 500: 0.263889776e1, 600: 0.123443146e2} {
		bar, ok := SaturationBar(k - 273.15)
		if !ok {
			t.Fatalf("%g K: not known", k)
		}
		near(t, "pressure", bar/10, mpa, 1e-8)
	}
	for mpa, k := range map[float64]float64{0.1: 0.372755919e3, 1: 0.453035632e3, 10: 0.584149488e3} {
		c, ok := BoilingC(mpa * 10)
		if !ok {
			t.Fatalf("%g MPa: not known", mpa)
		}
		near(t, "temperature", c+273.15, k, 1e-8)
	}
}

// TestAtmosphere compares with values computed with an independent
// implementation of IF97 (Debian's python3-iapws 1.5.3-1) at 0.101325 MPa.
func TestAtmosphere(t *testing.T) {
	for _, c := range []struct{ celsius, density, heat float64 }{
		{20, 998.206, 4.18479}, {40, 992.224, 4.17855}, {60, 983.211, 4.18276}, {80, 971.803, 4.19552},
	} {
		w, ok := LiquidAt(c.celsius, 1.01325)
		if !ok {
			t.Fatalf("%g °C: not known", c.celsius)
		}
		near(t, "density", w.Density, c.density, 1e-6)
		near(t, "heat capacity", w.Heat, c.heat, 2e-6)
	}
	for bar, want := range map[float64]float64{1: 99.6059, 1.01325: 99.9743, 2: 120.2115, 3: 133.5254, 5: 151.8362, 10: 179.8856} {
		c, ok := BoilingC(bar)
		if !ok || math.Abs(c-want) > 5e-5 {
			t.Errorf("%g bar: boils at %.5f °C (%v), want %.4f", bar, c, ok, want)
		}
	}
}

// TestOutside: nothing is made up beyond the range of the equations.
func TestOutside(t *testing.T) {
	for _, c := range [][2]float64{{-0.1, 1}, {351, 300}, {20, 0}, {20, 1001}, {100.1, 1.01325}, {math.NaN(), 1}, {20, math.NaN()}} {
		if w, ok := LiquidAt(c[0], c[1]); ok {
			t.Errorf("%g °C, %g bar: got %+v", c[0], c[1], w)
		}
	}
	for _, bar := range []float64{0, -1, 0.006, 221, math.NaN(), math.Inf(1)} {
		if c, ok := BoilingC(bar); ok {
			t.Errorf("%g bar: boils at %g", bar, c)
		}
	}
	for _, c := range []float64{-1, 374, math.NaN()} {
		if bar, ok := SaturationBar(c); ok {
			t.Errorf("%g °C: %g bar", c, bar)
		}
	}
}

// TestBackAndForth: the two saturation equations are each other's inverse
// (R7-97 section 8.2 says so of them).
func TestBackAndForth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(0.01, 373.9).Draw(t, "celsius")
		bar, ok := SaturationBar(want)
		if !ok {
			t.Fatalf("%g °C: not known", want)
		}
		if got, ok := BoilingC(bar); !ok || math.Abs(got-want) > 1e-6 {
			t.Fatalf("%g °C: back at %g (%v)", want, got, ok)
		}
	})
}
