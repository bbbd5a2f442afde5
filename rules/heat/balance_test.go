package heat

import (
	"math"
	"testing"
	"time"
)

// Computed from Coulomb friction: diameter and length 50 mm, 1450 rpm, 0.3 MPa
// (no textbook page on packing was found).
func TestFrictionPower(t *testing.T) {
	for coefficient, watts := range map[float64]float64{0.05: 447.2, 0.1: 894.4} {
		if got := FrictionWatts(coefficient, 0.3, 50, 50, 1450); math.Abs(got-watts) > 0.1 {
			t.Errorf("coefficient %g: %.2f W, want %g", coefficient, got, watts)
		}
	}
}

// The drops carry about a hundredth: 60 a minute of 0.05 mL and 20 °C (computed
// with IAPWS-IF97 water). The weep cools by its film, not by what it carries.
func TestDropsCarryAHundredth(t *testing.T) {
	drops := DripWatts(60, 0.05, 20)
	if math.Abs(drops-4.18) > 0.01 || math.Abs(DripWatts(20, 0.05, 20)-1.39) > 0.01 {
		t.Errorf("%.3f W", drops)
	}
	if share := drops / FrictionWatts(0.05, 0.3, 50, 50, 1450); share < 0.005 || share > 0.015 {
		t.Errorf("share %.4f", share)
	}
}

func TestBalance(t *testing.T) {
	for rise, want := range map[float64]Balance{3: Cold, 8: Cooled, 10: Fits, 12: Fits, 12.6: Heated, 20: Heated} {
		r := NewRise()
		at := run(&r, time.Hour, time.Hour, constant(30), constant(20), true)
		run(&r, at, time.Minute, constant(20+rise), constant(20), false)
		if got := r.Judge(25, 0, false); got != want {
			t.Errorf("a rise of %g where 10 is normal: %d, want %d", rise, got, want)
		}
	}
	fresh := NewRise()
	run(&fresh, time.Hour, time.Minute, constant(30), constant(20), false)
	if got := fresh.Judge(25, 0, false); got != Unknown {
		t.Errorf("nothing learned: %d", got)
	}
	if got := fresh.Judge(25, 7, true); got != Heated {
		t.Errorf("10 where 7 was usual: %d", got)
	}
}
