package page

import (
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
)

func TestPageNeverLies(t *testing.T) {
	b := serve(t, func(p *Parts) {
		p.Notices = func() []Notice {
			return []Notice{{Severity: low, Text: hostile, Since: time.Date(2026, 3, 1, 5, 0, 0, 0, time.UTC)}}
		}
	})
	defer b.stop()
	b.show(func(s *agent.Snapshot) {
		s.Time = time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC) // a gateway without a battery clock
		calm := &s.Glands[0]
		calm.Points[reading.Drip].Age = 95 * time.Second
		calm.State.Running.Quality = reading.Inferred
		calm.Points[reading.Temp].Quality = reading.Inferred
		leaky := &s.Glands[1]
		leaky.State.Weep.Known = false
		leaky.Points[reading.Drip].Quality = reading.OpenCircuit
		leaky.State.RiseC.Known = false
		leaky.Points[reading.Ref].Quality = reading.NoAnswer
		leaky.Points[reading.Temp] = agent.PointState{Seen: true}
	})
	_, _, body := b.get(t, "/")
	inOrder(t, body, "clock says 1970-01-01 00:05:00 UTC, which is wrong", "&lt;script&gt;", "since 2026-03-01 05:00:00 UTC")
	leaky, calm, _ := strings.Cut(body, `id="g-calm"`)
	_, leaky, _ = strings.Cut(leaky, `id="g-leaky"`)
	inOrder(t, leaky, "wire broken", "reference: no answer")
	if strings.Contains(leaky, ">122<") {
		t.Error("a number in place of a sensor's fault")
	}
	inOrder(t, calm, ">31<", "1 min", ">9.9<", "inferred", "turning", "inferred")
}

func TestRunningInIsSaid(t *testing.T) {
	b := serve(t)
	defer b.stop()
	b.show(func(s *agent.Snapshot) { s.Glands[0].State.LeakDPM, s.Glands[0].State.RiseLimitC = 134.3, 20 })
	_, _, body := b.get(t, "/")
	_, calm, _ := strings.Cut(body, `id="g-calm"`)
	inOrder(t, calm, "running in", "of 15–134", "of 20")
}

func TestPositions(t *testing.T) {
	b := band{dry: 15, leak: 60, gush: 200, rise: 25}
	for dpm, want := range map[float64]float64{-1: 0, 0: 0, 7.5: 15, 15: 30, 37.5: 50, 60: 70, 130: 80, 200: 90, 400: 95} {
		if got := b.weep(dpm); got != want {
			t.Errorf("weep %g at %g, want %g", dpm, got, want)
		}
	}
	for rise, want := range map[float64]float64{-3: 0, 0: 0, 12.5: 35, 25: 70, 37.5: 85, 100: 100} {
		if got := b.heat(rise); got != want {
			t.Errorf("rise %g at %g, want %g", rise, got, want)
		}
	}
}

func TestAges(t *testing.T) {
	words, err := loadTexts()
	if err != nil {
		t.Fatal(err)
	}
	for d, want := range map[time.Duration]string{
		0: "< 10 s", 9 * time.Second: "< 10 s", 39 * time.Second: "30 s", 90 * time.Second: "1 min", 150 * time.Minute: "2 h 30 min", 50 * time.Hour: "2 d 2 h", 8 * time.Hour: "8 h", 48 * time.Hour: "2 d",
	} {
		if got := words.age(d); got != want {
			t.Errorf("%s: %s, want %s", d, got, want)
		}
	}
}
