package weep

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
)

// Glide does exactly what Drops does, drop by drop: the two detectors stay the
// same to the last bit, and no deadline is passed over.
func TestGlideIsDrops(t *testing.T) {
	taken, all, idle, passed := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		cfg := rapid.SampledFrom([]Config{
			{DryDPM: 15, LeakDPM: 60, GushDPM: 200, FalseAlarmsPerYear: 1},
			{DryDPM: 4, LeakDPM: 6.8, GushDPM: 20, FalseAlarmsPerYear: 100},
		}).Draw(t, "limits")
		models := sharedModels
		quick, long := NewDetector(cfg, models), NewDetector(cfg, models)
		var c1, c2 Counter
		both := func(do func(d *Detector)) { do(quick); do(long) }
		now := time.Duration(rapid.Int64Range(1, 1e18).Draw(t, "epoch"))
		both(func(d *Detector) { d.Restart(now); d.Arm(now, true) })
		learned := muchLearned(rapid.SampledFrom([]int{0, 0, 6, 12, 24}).Draw(t, "bins learned"))
		both(func(d *Detector) { d.learn.learned = learned })
		c1.Restart(now)
		c2.Restart(now)
		mean := 60 / math.Sqrt(cfg.DryDPM*cfg.LeakDPM)
		for range rapid.IntRange(1, 30).Draw(t, "stretches") {
			seed, spread := rapid.Uint64().Draw(t, "seed"), rapid.SampledFrom([]float64{0.05, 0.3, 1}).Draw(t, "spread")
			pace := rapid.SampledFrom([]float64{1, 1, 1, 0.3, 3}).Draw(t, "pace") * mean
			rows := drips(now, seed, rapid.SampledFrom([]int{1, 10, 200}).Draw(t, "drops"), pace, spread)
			now = rows[len(rows)-1].At
			all += len(rows)
			for len(rows) > 0 {
				until, ok := long.Deadline()
				if !ok {
					until = never
				}
				if quick.Idle() {
					idle++
					if at := quick.IdleDeadline(); ok && at != until {
						t.Fatalf("deadline while idle %v, want %v", at, until)
					}
				}
				if quick.learn.passed > 0 {
					passed++
				}
				n := quick.Glide(&c1, times(rows), Gait{}, until)
				dropsBeforeDeadline(t, long, &c2, rows[:n])
				taken, rows = taken+n, rows[n:]
				if len(rows) == 0 {
					break
				}
				both(func(d *Detector) { silentUntil(d, rows[0].At) })
				both(func(d *Detector) { d.Drops(rows[0].At, 1) })
				c1.Add(rows[0].At, 1)
				c2.Add(rows[0].At, 1)
				rows = rows[1:]
			}
			at := now + time.Duration(rapid.Int64Range(0, 3e9).Draw(t, "later"))
			if !somethingOdd(t, both, cfg, at) {
				continue
			}
			now = at
		}
		both(awake)
		if c1 != c2 {
			t.Fatalf("counted %+v, by Drops %+v", c1, c2)
		}
		if a, b := withoutGains(*quick), withoutGains(*long); a != b {
			t.Fatalf("\n%s\nby Drops\n%s", a, b)
		}
	})
	if taken < all/8 || idle == 0 || all > 50_000 && passed == 0 { // how much it takes is up to the dice
		t.Errorf("Glide took %d of %d drops, %d times idle, %d times not learning: little is shown", taken, all, idle, passed)
	}
}

// withoutGains is all of a detector but what follows from its edges and its shape.
func withoutGains(d Detector) string {
	d.low.gains, d.high.gains, d.gush.gains = nil, nil, nil
	return fmt.Sprintf("%+v", d)
}

// somethingOdd does to both detectors what ends a row of drops, now and then.
func somethingOdd(t *rapid.T, both func(func(d *Detector)), cfg Config, at time.Duration) bool {
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
		return false
	}
	return true
}

// muchLearned is nearly a memory full of pairs in the first so many bins.
func muchLearned(bins int) (c binCounts) {
	for i := range bins {
		c.count[i] = uint16((memory - 2*blockPairs) / bins)
		c.total += c.count[i]
	}
	return c
}

// dropsBeforeDeadline takes the rows drop by drop, none beyond a deadline.
func dropsBeforeDeadline(t *rapid.T, d *Detector, c *Counter, rows []reading.Row) {
	for _, row := range rows {
		if at, ok := d.Deadline(); ok && at <= row.At {
			t.Fatalf("a drop at %v was taken beyond the deadline %v", row.At, at)
		}
		d.Drops(row.At, 1)
		c.Add(row.At, 1)
	}
}

func silentUntil(d *Detector, until time.Duration) {
	for at, ok := d.Deadline(); ok && at <= until; at, ok = d.Deadline() {
		d.Silent(at)
	}
}

// awake leaves nothing undone, so that detectors can be compared.
func awake(d *Detector) {
	d.rouse()
	d.low.rouse()
	d.high.rouse()
	d.gush.rouse()
}

func times(rows []reading.Row) (list []time.Duration) {
	for _, row := range rows {
		list = append(list, row.At)
	}
	return list
}

// drips are so many drops after a time, pace seconds apart on average.
func drips(now time.Duration, seed uint64, n int, pace, spread float64) (rows []reading.Row) {
	for range n {
		seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX
		u := float64(seed>>11) / (1 << 53)
		now += time.Duration(pace * (1 + spread*(-math.Log(1-u)-1)) * 1e9)
		rows = append(rows, reading.Row{At: now, Value: 1})
	}
	return rows
}

var sharedModels = NewModels()
