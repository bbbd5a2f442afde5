package weep

import (
	"math"
	"testing"
)

// change is a row of the target table: mean delay in seconds, for shapes 1 and
// 4, of the optimal CUSUM from the edge of the band to the new level, limit at the
// geometric mean, one false alarm a year at the edge (integral equation, checked
// by simulation; computed apart from this code).
type change struct {
	from, to float64
	optimum  map[float64]float64
}

var targetChanges = []change{
	{30, 5, map[float64]float64{1: 165.5, 4: 46.0}},
	{60, 15, map[float64]float64{1: 91.4, 4: 25.2}},
	{20, 5, map[float64]float64{1: 253.9, 4: 70.5}},
	{30, 60, map[float64]float64{1: 91.9, 4: 25.1}},
	{60, 120, map[float64]float64{1: 48.2, 4: 13.1}},
	{60, 180, map[float64]float64{1: 20.2, 4: 5.5}},
}

func (c change) config() Config {
	limit := math.Sqrt(c.from * c.to)
	cfg := Config{DryDPM: limit, LeakDPM: 8 * limit, GushDPM: 20 * limit, FalseAlarmsPerYear: 1}
	if c.to > c.from {
		cfg = Config{DryDPM: limit / 8, LeakDPM: limit, GushDPM: 8 * limit, FalseAlarmsPerYear: 1}
	}
	return cfg
}

// delay runs one gland: learning for learn seconds, then the change; it returns
// the seconds to the alarm and false when there was an alarm before.
func (c change) delay(seed uint64, m *Models, shape, splash, missed, learn float64) (float64, bool) {
	d := NewDetector(c.config(), m)
	p := newDrip(seed, shape, splash, missed)
	d.Restart(0)
	d.Arm(0, true)
	low := c.to < c.from
	dpm := func(t float64) float64 {
		if t < learn {
			return c.from
		}
		return c.to
	}
	out := func() bool { l, h, _ := d.Out(); return low && l || !low && h }
	for {
		t, found := follow(d, p.next(dpm), out)
		if found {
			return t - learn, t > learn
		}
	}
}

// meanDelay is the mean delay of some glands, and how many alarms came early.
func (c change) meanDelay(m *Models, runs int, shape, odd, learn float64) (mean float64, early int) {
	sum := 0.0
	for i := range runs {
		s, ok := c.delay(uint64(i), m, shape, odd, odd, learn)
		if !ok {
			early++
			continue
		}
		sum += s
	}
	return sum / float64(runs-early), early
}

// The targets: 1.5 times the optimum that knows both levels and the shape for a
// Poisson drip, twice for a regular one, after two hours of learning.
func TestDelaysKeepTheirTargets(t *testing.T) {
	m := NewModels()
	const runs = 60
	for _, odd := range []float64{0, 0.02} {
		for _, c := range targetChanges {
			for shape, most := range map[float64]float64{1: 1.5, 4: 2} {
				mean, early := c.meanDelay(m, runs, shape, odd, 7200)
				t.Logf("splash and misses %g, %g to %g, shape %g: %.1f s, %.2f x optimum", odd, c.from, c.to, shape, mean, mean/c.optimum[shape])
				if ratio := mean / c.optimum[shape]; early > 0 || ratio > most {
					t.Errorf("splash and misses %g, %g to %g, shape %g: %d early, %.2f x the optimum; at most %g", odd, c.from, c.to, shape, early, ratio, most)
				}
			}
		}
	}
}
