package weep

import "testing"

// falseAlarms counts the departures that a gland at a steady weep shows within
// some years; each is taken back at once and the detector goes on.
func falseAlarms(cfg Config, m *Models, seed uint64, dpm, shape, splash, missed, years float64) (low, high int) {
	d := NewDetector(cfg, m)
	p := newDrip(seed, shape, splash, missed)
	d.Restart(0)
	d.Arm(0, true)
	steady := func(float64) float64 { return dpm }
	out := func() bool { return d.lowOut || d.highOut }
	end := years * secondsPerYear
	for {
		t := p.next(steady)
		if t > end {
			return low, high
		}
		if _, found := follow(d, t, out); found {
			if d.lowOut {
				low++
			}
			if d.highOut {
				high++
			}
			d.lowOut, d.highOut = false, false
		}
	}
}

// At the very edge of the promised band, where a steady weep is worst, a budget
// a hundred times the usual one must hold, with and without splash and misses.
// The long run is a command: see DEVELOPERS.md.
func TestFalseAlarmsKeepTheirBudget(t *testing.T) {
	m := NewModels()
	const budget, years = 200, 0.05
	for _, odd := range []float64{0, 0.02} {
		for _, shape := range []float64{1, 4, 12} {
			const dpm = 30.0
			at := Config{DryDPM: dpm / Margin, LeakDPM: dpm * 8, GushDPM: dpm * 20, FalseAlarmsPerYear: budget}
			low, _ := falseAlarms(at, m, 1, dpm, shape, odd, odd, years)
			at = Config{DryDPM: dpm / 8, LeakDPM: dpm * Margin, GushDPM: dpm * 20, FalseAlarmsPerYear: budget}
			_, high := falseAlarms(at, m, 1, dpm, shape, odd, odd, years)
			most := Limits(budget*years, 1, 1).HighDPM
			if float64(low) > most || float64(high) > most {
				t.Errorf("splash and misses %g, shape %g: %d dry and %d leaking; the budget allows %g", odd, shape, low, high, budget*years)
			}
		}
	}
}

// A drip that suddenly becomes much less regular looks like one thing after the other
// to who takes it for regular. After a few alarms that is not believed any more.
func TestDripThatLosesItsRhythmIsLearnedAnew(t *testing.T) {
	m := NewModels()
	for seed := range uint64(6) {
		d := NewDetector(Config{DryDPM: 15, LeakDPM: 60, GushDPM: 200, FalseAlarmsPerYear: 1}, m)
		p := newDrip(seed, 12, 0.005, 0.005)
		d.Restart(0)
		d.Arm(0, true)
		const day = 86400.0
		steady := func(float64) float64 { return 44 }
		was, left := false, 0
		for now := 0.0; now < 3*day; {
			now = p.next(steady)
			if now > day {
				p.shape = 1.5
			}
			silentUntil(d, at(now))
			d.Drops(at(now), 1)
			if out := d.lowOut || d.highOut; out != was {
				was = out
				if out {
					left++
				}
			}
		}
		if left < 1 || left > mostLeft+2 { // without it there are hundreds
			t.Errorf("seed %d: %d alarms", seed, left)
		}
		if d.Shape() > 1.5 {
			t.Errorf("seed %d: shape %g is in use", seed, d.Shape())
		}
	}
}
