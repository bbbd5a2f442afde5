package weep

import (
	"math"
	"testing"
)

func TestWaterLost(t *testing.T) {
	const usGallon, year = 3.785411784, 365.0 // litres (by definition), days
	for _, c := range []struct {
		source              string
		dpm, ml             float64
		litresDay, gallonsY float64
	}{
		{"20 drops a mL, pharmacopoeia (from memory); arithmetic", 60, 0.05, 4.32, 416.55},
		{"0.25 mL, copies of the USGS drip page; arithmetic", 60, 0.25, 21.6, 2082.73},
		{"1/3 mL, USGS drip page; arithmetic", 60, 1.0 / 3, 28.8, 2776.98},
	} {
		litres := LitresPerDay(c.dpm, c.ml)
		if math.Abs(litres-c.litresDay) > 1e-9 {
			t.Errorf("%s: %g L/d, want %g", c.source, litres, c.litresDay)
		}
		if gallons := litres * year / usGallon; math.Abs(gallons-c.gallonsY) > 0.01 {
			t.Errorf("%s: %.2f gal/year, want %g", c.source, gallons, c.gallonsY)
		}
	}
	// EPA WaterSense, as quoted: a drip a second can waste more than 3,000 gallons
	// a year, ten a minute more than 500. Both mean 0.3601 mL a drop.
	const ml = 0.3601
	for dpm, gallons := range map[float64]float64{60: 3000, 10: 500} {
		if got := LitresPerDay(dpm, ml) * year / usGallon; math.Abs(got-gallons) > 0.002*gallons {
			t.Errorf("WaterSense: %g drops/min: %.0f gal/year, want %g", dpm, got, gallons)
		}
	}
	// USGS: a third of a millilitre is 3,000 drops a litre.
	if got := LitresPerDay(3000.0/1440, 1.0/3); math.Abs(got-1) > 1e-9 {
		t.Errorf("USGS: 3,000 drops are %g L, want 1", got)
	}
}
