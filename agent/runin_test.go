package agent

import (
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// Recording `repacked` begins the run-in at once, and a restart goes on with it
// as old as it is; any other entry begins none.
func TestRepackedBeginsARunIn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		long := func(o *Options) { o.Glands[0].Rules.Timing.RunIn = 4 * time.Hour }
		l := liveOn(t, disk, wall, long)
		record := func(id, kind string) {
			t.Helper()
			if r := l.agent.Do(t.Context(), Command{ID: id, Action: ActionRecord, Gland: "a", By: "mechanic", Kind: kind}); !r.OK {
				t.Fatalf("%+v", r)
			}
		}
		record("c1", "sensor-cleaned")
		if _, began := l.core.repacked["a"]; began {
			t.Error("cleaning began a run-in")
		}
		record("c2", EntryRepacked)
		at, began := l.core.repacked["a"]
		if now := l.agent.clock.Steady(); !began || now-at > time.Second {
			t.Fatalf("began %v, %v ago", began, now-at)
		}
		when := l.agent.clock.Wall(at)
		l.die(t, disk, true)
		time.Sleep(time.Hour)
		disk.minutes = map[string][]KeptMinute{"a": {{when.Add(time.Minute), 90, 8}}}
		l = liveOn(t, disk, wall, long)
		if d := l.core.drawn; len(d) != 1 || l.agent.clock.Wall(d[0].At).Sub(when.Add(time.Minute)).Abs() > 10*time.Millisecond || d[0].DPM != 90 {
			t.Errorf("of the curve came back %+v", d)
		}
		again, began := l.core.repacked["a"]
		if off := l.agent.clock.Wall(again).Sub(when).Abs(); !began || off > 10*time.Millisecond {
			t.Errorf("after the restart: began %v, off by %v", began, off)
		}
		l.die(t, disk, true)
	})
}

// Through the real core: 120 drops a minute are a leak, but not right after a
// repack was recorded.
func TestRunInIsGenerous(t *testing.T) {
	for _, repacked := range []bool{false, true} {
		cfg := rules.Config{Glands: []rules.GlandConfig{{
			ID: "a", NormalDPM: 30, Fitted: rules.Fitted{true},
			Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: rules.Timing{RunIn: 4 * time.Hour},
		}}}
		station, err := rules.NewStation(cfg)
		if err != nil {
			t.Fatal(err)
		}
		l := &loop{core: station, byID: map[string]int{"a": 0}, agent: &Agent{log: slog.New(slog.DiscardHandler), clock: NewClock(time.Now)}}
		if repacked {
			c := Command{ID: "c1", Action: ActionRecord, Gland: "a", By: "mechanic", Kind: EntryRepacked}
			if r := l.act(c, time.Hour); !r.OK {
				t.Fatalf("%+v", r)
			}
		}
		leaking := false
		for at := time.Hour; at < 90*time.Minute; at += 500 * time.Millisecond {
			out, err := station.Feed(reading.Reading{At: at, Point: dripA, Value: 1})
			if err != nil {
				t.Fatal(err)
			}
			for _, tr := range out {
				leaking = leaking || tr.Active && tr.Condition == rules.Leaking
			}
		}
		if leaking == repacked {
			t.Errorf("repacked %v: leaking %v", repacked, leaking)
		}
	}
}
