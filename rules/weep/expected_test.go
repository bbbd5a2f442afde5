package weep

import (
	"math"
	"testing"
)

// The theory against the detector itself, after two hours of learning, for the
// changes of the targets and both regularities.
func TestExpectedAgainstTheDetector(t *testing.T) {
	m := NewModels()
	const runs = 40
	for _, c := range targetChanges {
		for _, shape := range []float64{1, 4} {
			side, cfg := TooLow, c.config()
			limit := cfg.DryDPM
			if c.to > c.from {
				side, limit = TooHigh, cfg.LeakDPM
			}
			// What is learned in two hours is a cautious shape.
			mean, early := c.meanDelay(m, runs, shape, 0, 7200)
			expected, ok := NewExpected(side, limit, 1, c.learned(m, shape)).Delay(c.to)
			ratio := expected.Seconds() / mean
			t.Logf("%g to %g, shape %g: %.1f s, theory %.1f s, %.2f", c.from, c.to, shape, mean, expected.Seconds(), ratio)
			if early > 0 || !ok || math.Abs(math.Log(ratio)) > math.Log(1.3) {
				t.Errorf("%g to %g, shape %g: %.1f s, theory %.1f s", c.from, c.to, shape, mean, expected.Seconds())
			}
		}
	}
}

// learned is the regularity in use after two hours.
func (c change) learned(m *Models, shape float64) float64 {
	d := NewDetector(c.config(), m)
	p := newDrip(1, shape, 0, 0)
	d.Restart(0)
	d.Arm(0, true)
	for now := 0.0; now < 7200; {
		now = p.next(func(float64) float64 { return c.from })
		d.Drops(at(now), 1)
	}
	return d.Shape()
}

// No alarm is to be expected of a weep within the band, and one that stops is
// found as StopDelay says.
func TestExpectedAtTheEnds(t *testing.T) {
	low := NewExpected(TooLow, 15, 1, 1)
	if d, ok := low.Delay(30); ok {
		t.Errorf("30 dpm with a limit of 15: %s", d)
	}
	if d, ok := low.Delay(0); !ok || d != StopDelay(15, 1) {
		t.Errorf("stops: %s, %v", d, ok)
	}
	high := NewExpected(TooHigh, 60, 1, 1)
	for _, dpm := range []float64{0, 40} {
		if d, ok := high.Delay(dpm); ok {
			t.Errorf("%g dpm with a limit of 60: %s", dpm, d)
		}
	}
	few, _ := NewExpected(TooHigh, 60, 0.01, 1).Delay(120)
	many, _ := NewExpected(TooHigh, 60, 100, 1).Delay(120)
	if few <= many {
		t.Errorf("fewer false alarms must cost time: %s and %s", few, many)
	}
}
