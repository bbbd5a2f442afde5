package mqtt

import (
	"testing"
	"time"

	"weepd/agent"
)

func ptr[T any](v T) *T { return &v }

func TestReadingsAreSentByException(t *testing.T) {
	base := agent.GlandReading{
		DPM: ptr(40.0), DPMLow: ptr(35.0), DPMHigh: ptr(45.0), TempC: ptr(50.0), RiseC: ptr(20.0),
		Running: ptr(true), Quality: "good",
	}
	with := func(change func(*agent.GlandReading)) agent.GlandReading { r := base; change(&r); return r }
	weep := func(dpm, low, high float64) agent.GlandReading {
		return with(func(r *agent.GlandReading) { r.DPM, r.DPMLow, r.DPMHigh = &dpm, &low, &high })
	}
	for _, c := range []struct {
		name string
		r    agent.GlandReading
		age  time.Duration
		want bool
	}{
		{"nothing moved", base, time.Minute, false},
		{"nothing moved, but five minutes old", base, 5 * time.Minute, true},
		{"only the time moved", with(func(r *agent.GlandReading) { r.Time = time.Unix(9, 0) }), time.Second, false},
		{"dpm beyond 5 %, limits overlap", weep(50, 44.9, 55), time.Second, false},
		{"dpm beyond 5 %, limits apart", weep(50, 45.1, 55), time.Second, true},
		{"dpm lower, limits apart", weep(30, 25, 34.9), time.Second, true},
		{"dpm lower, limits overlap", weep(30, 25, 35.1), time.Second, false},
		{"limits apart, but within 5 %", weep(41.9, 45.1, 55), time.Second, false},
		{"limits not known", with(func(r *agent.GlandReading) { *r = weep(46, 0, 0); r.DPMLow, r.DPMHigh = nil, nil }), time.Second, true},
		{"dpm not known any more", with(func(r *agent.GlandReading) { r.DPM, r.DPMLow, r.DPMHigh = nil, nil, nil }), time.Second, true},
		{"less than half a degree", with(func(r *agent.GlandReading) { r.RiseC = ptr(20.49) }), time.Second, false},
		{"more than half a degree", with(func(r *agent.GlandReading) { r.RiseC = ptr(20.51) }), time.Second, true},
		{"temperature alone", with(func(r *agent.GlandReading) { r.TempC = ptr(49.4) }), time.Second, true},
		{"stopped", with(func(r *agent.GlandReading) { r.Running = ptr(false) }), time.Second, true},
		{"run not known", with(func(r *agent.GlandReading) { r.Running = nil }), time.Second, true},
		{"quality", with(func(r *agent.GlandReading) { r.Quality = "storm" }), time.Second, true},
	} {
		now := time.Unix(1000, 0)
		if got := (sentGland{base, now.Add(-c.age)}).worthSending(c.r, now); got != c.want {
			t.Errorf("%s: sent %v, want %v", c.name, got, c.want)
		}
	}
}

// A gland whose weep becomes known, or that had none, is sent at once.
func TestWeepBecomesKnown(t *testing.T) {
	now := time.Unix(1000, 0)
	known := agent.GlandReading{DPM: ptr(40.0), DPMLow: ptr(35.0), DPMHigh: ptr(45.0), Quality: "good"}
	if !(sentGland{agent.GlandReading{Quality: "good"}, now}).worthSending(known, now) {
		t.Error("a weep that became known was not sent")
	}
	if (sentGland{agent.GlandReading{Quality: "good"}, now}).worthSending(agent.GlandReading{Quality: "good"}, now) {
		t.Error("nothing known was sent again")
	}
}
