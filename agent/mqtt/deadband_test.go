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
	for _, c := range []struct {
		name string
		r    agent.GlandReading
		age  time.Duration
		want bool
	}{
		{"nothing moved", base, time.Minute, false},
		{"nothing moved, but five minutes old", base, 5 * time.Minute, true},
		{"only the time moved", with(func(r *agent.GlandReading) { r.Time = time.Unix(9, 0) }), time.Second, false},
		{"dpm within 5 %", with(func(r *agent.GlandReading) { r.DPM = ptr(41.9) }), time.Second, false},
		{"dpm beyond 5 %", with(func(r *agent.GlandReading) { r.DPM = ptr(42.1) }), time.Second, true},
		{"dpm not known any more", with(func(r *agent.GlandReading) { r.DPM = nil }), time.Second, true},
		{"interval a little wider", with(func(r *agent.GlandReading) { r.DPMLow = ptr(33.0) }), time.Second, false},
		{"interval much wider", with(func(r *agent.GlandReading) { r.DPMLow = ptr(20.0) }), time.Second, true},
		{"a fifth of a degree", with(func(r *agent.GlandReading) { r.RiseC = ptr(20.2) }), time.Second, false},
		{"a third of a degree", with(func(r *agent.GlandReading) { r.RiseC = ptr(20.33) }), time.Second, true},
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
