package simulated

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// facts.md D: d = L = 50 mm, 1450 rpm, 0.3 MPa; Coulomb friction.
func TestFrictionPower(t *testing.T) {
	f := Friction{Mu: 0.05, MuDry: 0.1, PressureMPa: 0.3, DiameterMM: 50, LengthMM: 50, RPM: 1450}
	near(t, "power at mu 0.05, W", f.power(f.mu(1), 0.3), 447.2, 1e-4)
	near(t, "power at mu 0.1, W", f.power(f.mu(0), 0.3), 894.4, 1e-4)
	d := DefaultFriction()
	near(t, "default power, W", d.power(d.mu(1), d.PressureMPa), 447.2, 1e-4)
}

// facts.md A10: v = pi d n / 60.
func TestSurfaceSpeed(t *testing.T) {
	for _, c := range []struct{ mm, rpm, want float64 }{
		{50, 1450, 3.7961}, {60, 1450, 4.5553}, {50.8, 1750, 4.6548}, {40, 2900, 6.0737},
	} {
		near(t, "speed, m/s", Friction{DiameterMM: c.mm, RPM: c.rpm}.surfaceSpeed(), c.want, 2e-5)
	}
}

// facts.md D: 60 dpm of 0.05 mL carry 4.18 W per 20 K, 20 dpm 1.39 W, about
// 1 % of the friction heat.
func TestDripsCarryLittleHeat(t *testing.T) {
	h := Heat{DropML: 0.05}
	near(t, "60 dpm, W", h.weepWK(60)*20, 4.18, 1e-3)
	near(t, "20 dpm, W", h.weepWK(20)*20, 1.39, 5e-3)
	if share := h.weepWK(60) * 20 / 447.2; share < 0.005 || share > 0.015 {
		t.Errorf("drips carry %.2g of the heat, want about 0.01", share)
	}
}

// The gamma distribution of mean 1 and shape k has variance 1/k and third
// central moment 2/k² (any handbook of statistics). Tolerances are over four
// standard errors of the fixed sample.
func TestIntervalMoments(t *testing.T) {
	const n = 400_000
	for _, k := range []float64{0.5, 1, 2, 8, 50} {
		rng := rand.New(rand.NewPCG(1, 2))
		iv := newIntervals(k)
		var sum, square, cube float64
		for range n {
			x := iv.draw(rng) - 1
			sum, square, cube = sum+x, square+x*x, cube+x*x*x
		}
		if mean := sum / n; math.Abs(mean) > 4/math.Sqrt(k*n) {
			t.Errorf("shape %g: mean %g", k, 1+mean)
		}
		near(t, "variance", square/n, 1/k, 0.03)
		near(t, "third moment", cube/n, 2/(k*k), 0.12)
	}
}

// AWWA (facts.md C): 5 drips a second amount to a steady stream.
func TestStreamIsCountedAsLess(t *testing.T) {
	if counted(299) != 299 || counted(300) != 300 {
		t.Error("drops below the stream are not all counted")
	}
	for dpm := 301.0; dpm < mostDPM; dpm++ {
		if counted(dpm) >= counted(dpm-1) || counted(dpm) <= 0 {
			t.Fatalf("%g dpm are counted as %g", dpm, counted(dpm))
		}
	}
}

// The exact solution over steps is the exact solution over the whole.
func TestHeatFollowsTheFirstOrderLaw(t *testing.T) {
	cfg := Gland{ID: "a", DPM: 60, Climate: Climate{LiquidC: 16, AmbientC: 16}}.withDefaults()
	g := newGland(cfg, 1, 0, 0)
	g.tempC = 16
	loss := cfg.Heat.LiquidWK + cfg.Heat.AmbientWK + cfg.Heat.weepWK(60)
	rise := 447.2 / loss
	for s := 10; s <= 300; s += 10 {
		g.heatTo(int64(s) * int64(time.Second))
		want := 16 + rise*(1-math.Exp(-float64(s)*loss/cfg.Heat.CapacityJK))
		near(t, "temperature", g.tempC, want, 1e-4)
	}
	g.happen(Event{Kind: Stop})
	from := g.tempC
	g.heatTo(g.heatAt + int64(30*time.Second))
	near(t, "cooling", g.tempC, 16+(from-16)*math.Exp(-30*loss/cfg.Heat.CapacityJK), 1e-4)
}

// facts.md A9: 25.0625 = 0191, -10.125 = FF5E and so on, all of sixteenths.
func TestTemperaturesAreSixteenths(t *testing.T) {
	for in, want := range map[float64]float64{25.07: 25.0625, -10.13: -10.125, 0.03: 0, 0.04: 0.0625} {
		if got := quantised(in); got != want {
			t.Errorf("%g is measured as %g, want %g", in, got, want)
		}
	}
}
