package simulated

import (
	"math"
	"testing"
	"time"

	"weepd/rules/reading"
)

// cusum is the textbook's sequential test for gamma intervals: log-likelihood
// ratio of the level just inside an alarm's limit against the edge of the good
// band, 1.3 times apart from the limit each.
type cusum struct {
	good, bad, sum float64 // dpm, dpm
}

const cusumLimit = 15 // about one false alarm in years

func (c *cusum) step(interval time.Duration) (sum float64) {
	k := float64(defaultShape)
	return max(0, c.sum+k*math.Log(c.bad/c.good)-k*(c.bad-c.good)*interval.Minutes())
}

type watcher struct {
	dry, leak cusum
	last      time.Duration
	dryAt     time.Duration
	leakAt    time.Duration
}

func (w *watcher) feed(r reading.Reading) {
	interval := r.At - w.last
	if w.last > 0 && w.dryAt == 0 && w.dry.step(interval) >= cusumLimit {
		w.dryAt = r.At
	}
	if r.Value == 0 {
		return // silence so far
	}
	if w.last > 0 {
		w.dry.sum, w.leak.sum = w.dry.step(interval), w.leak.step(interval)
	}
	if w.leakAt == 0 && w.leak.sum >= cusumLimit {
		w.leakAt = r.At
	}
	w.last = r.At
}

// heat follows the rise of one gland.
type heat struct {
	temp, ref float64
	limit     float64
	most      float64       // rise before DemoDryAfter
	hotAt     time.Duration // first over the limit
}

func (h *heat) feed(r reading.Reading) {
	if r.Point.Kind == reading.Temp {
		h.temp = r.Value
	} else {
		h.ref = r.Value
	}
	if h.temp == 0 || h.ref == 0 {
		return
	}
	rise := h.temp - h.ref
	if r.At < noon+DemoDryAfter {
		h.most = max(h.most, rise)
	}
	if h.hotAt == 0 && rise > h.limit {
		h.hotAt = r.At
	}
}

// The spectator of the demonstration leaves after a minute.
func TestDemonstrationShowsBothWithin45Seconds(t *testing.T) {
	watch, warm := make(map[string]*watcher), make(map[string]*heat)
	for _, g := range DemoGlands() {
		watch[g.ID] = &watcher{
			dry:  cusum{good: 1.3 * g.DryDPM, bad: g.DryDPM / 1.3},
			leak: cusum{good: g.LeakDPM / 1.3, bad: g.LeakDPM * 1.3},
		}
		warm[g.ID] = &heat{limit: g.RiseC}
		if g.DPM <= 1.3*g.DryDPM || g.DPM >= g.LeakDPM/1.3 {
			t.Errorf("gland %s: %g dpm is outside the band without alarms", g.ID, g.DPM)
		}
	}
	for _, r := range simulate(t, DemoStation(), 45*time.Second) {
		switch r.Point.Kind {
		case reading.Drip:
			watch[r.Point.Gland].feed(r)
		case reading.Temp, reading.Ref:
			warm[r.Point.Gland].feed(r)
		default:
		}
	}
	for id, w := range watch {
		checkOnce(t, id+" dry", w.dryAt, id == "p1-de", DemoDryAfter)
		checkOnce(t, id+" leaking", w.leakAt, id == "p2-nde", DemoLeakAfter)
		checkOnce(t, id+" hot", warm[id].hotAt, id == "p1-de", DemoDryAfter)
		if warm[id].most > 0.8*warm[id].limit {
			t.Errorf("%s: rise of %g in quiet times", id, warm[id].most)
		}
	}
}

func checkOnce(t *testing.T, what string, at time.Duration, want bool, after time.Duration) {
	t.Helper()
	if (at != 0) != want || want && at < noon+after {
		t.Errorf("%s: wanted %t, seen %s after the start", what, want, at-noon)
	} else if want {
		t.Logf("%s %s after the start", what, at-noon)
	}
}
