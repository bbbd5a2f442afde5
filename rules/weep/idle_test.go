package weep

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Steady, where it takes a drop, does exactly what Drops does: the two detectors
// stay the same to the last bit.
func TestSteadyIsDrops(t *testing.T) {
	taken, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		cfg := Config{DryDPM: 15, LeakDPM: 60, GushDPM: 200, FalseAlarmsPerYear: 1}
		if rapid.Bool().Draw(t, "other limits") {
			cfg = Config{DryDPM: 4, LeakDPM: 6.8, GushDPM: 20, FalseAlarmsPerYear: 100}
		}
		models := sharedModels
		quick, long := NewDetector(cfg, models), NewDetector(cfg, models)
		both := func(do func(d *Detector)) { do(quick); do(long) }
		now := time.Duration(rapid.Int64Range(1, 1e18).Draw(t, "epoch"))
		both(func(d *Detector) { d.Restart(now); d.Arm(now, true) })
		mean := 60 / math.Sqrt(cfg.DryDPM*cfg.LeakDPM)
		for range rapid.IntRange(1, 30).Draw(t, "stretches") {
			seed, spread := rapid.Uint64().Draw(t, "seed"), rapid.SampledFrom([]float64{0.05, 0.3, 1}).Draw(t, "spread")
			for range rapid.SampledFrom([]int{1, 10, 200}).Draw(t, "drops") {
				seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX
				u := float64(seed>>11) / (1 << 53)
				now += time.Duration(mean * (1 + spread*(-math.Log(1-u)-1)) * 1e9)
				if at, ok := long.Deadline(); ok && at <= now {
					both(func(d *Detector) { d.Silent(at) })
				}
				all++
				long.Drops(now, 1)
				if quick.Steady(now) {
					taken++
				} else {
					quick.Drops(now, 1)
				}
				if until, ok := quick.SteadyUntil(); ok {
					if at, limited := long.Deadline(); limited && at != until {
						t.Fatalf("steady until %v, the deadline is %v", until, at)
					}
				}
			}
			at := now + time.Duration(rapid.Int64Range(0, 3e9).Draw(t, "later"))
			switch rapid.IntRange(0, 6).Draw(t, "odd") {
			case 0:
				both(func(d *Detector) { d.Restart(at) })
			case 1:
				both(func(d *Detector) { d.Arm(at, !d.watched) })
			case 2:
				both(func(d *Detector) { d.Forget(at) })
			case 3:
				both(func(d *Detector) { d.SetLeak(at, cfg.LeakDPM*1.2) })
			case 4:
				both(func(d *Detector) { d.Drops(at, 3) })
			case 5:
				both(func(d *Detector) {
					d.Reconfigure(at, Config{DryDPM: cfg.DryDPM * 1.1, LeakDPM: cfg.LeakDPM, GushDPM: cfg.GushDPM, FalseAlarmsPerYear: 1})
				})
			default:
				continue
			}
			now = at
		}
		both(func(d *Detector) {
			d.rouse()
			d.low.rouse()
			d.high.rouse()
			d.gush.rouse()
			d.idle = false
		})
		if a, b := fmt.Sprintf("%+v", *quick), fmt.Sprintf("%+v", *long); a != b {
			t.Fatalf("\n%s\nby Drops\n%s", a, b)
		}
	})
	if taken < all/4 {
		t.Errorf("Steady took %d of %d drops: little is shown", taken, all)
	}
}

var sharedModels = NewModels()
