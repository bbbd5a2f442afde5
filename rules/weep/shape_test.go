package weep

import "testing"

// What is learned must come near the truth and not exceed it: a shape taken too
// large makes false alarms. Splash of 2 % and 2 % missed must not spoil it.
func TestShapeIsLearnedCautiously(t *testing.T) {
	m := NewModels()
	for _, odd := range []float64{0, 0.02} {
		for _, shape := range []float64{1, 2, 4, 8, 12} {
			for _, dpm := range []float64{15, 90} {
				got := learnedShape(m, shape, dpm, odd)
				if got > 1.12*shape || got < 0.6*shape {
					t.Errorf("splash and misses %g, shape %g at %g drops/min: learned %.2f", odd, shape, dpm, got)
				}
			}
		}
	}
}

func learnedShape(m *Models, shape, dpm, odd float64) float64 {
	d := NewDetector(Config{DryDPM: dpm / 3, LeakDPM: dpm * 3, GushDPM: dpm * 20, FalseAlarmsPerYear: 1}, m)
	p := newDrip(3, shape, odd, odd)
	d.Restart(0)
	for s := 0.0; s < 4*3600; {
		s = p.next(func(float64) float64 { return dpm })
		d.Drops(at(s), 1)
	}
	return d.Shape()
}

// A fault is not learned as normal: a gland that turns irregular while it leaks
// keeps the regularity that it had.
func TestFaultIsNotLearned(t *testing.T) {
	d := NewDetector(Config{DryDPM: 10, LeakDPM: 60, GushDPM: 400, FalseAlarmsPerYear: 1}, NewModels())
	d.Restart(0)
	p := newDrip(1, 8, 0, 0)
	s := 0.0
	for s < 4*3600 {
		s = p.next(func(float64) float64 { return 30 })
		d.Drops(at(s), 1)
	}
	before := d.Shape()
	p.shape = 1
	for s < 8*3600 {
		s = p.next(func(float64) float64 { return 150 })
		d.Drops(at(s), 1)
	}
	if _, high, _ := d.Out(); !high || d.Shape() != before {
		t.Errorf("leaking %v, shape %.2f, was %.2f", high, d.Shape(), before)
	}
}
