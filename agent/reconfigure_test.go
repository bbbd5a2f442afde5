package agent

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/reading"
	"weepd/sensors"
)

// counted is a drip source that numbers its readings; runs counts its starts.
func counted(c *Clock, gland, key string, runs *int) Feed {
	p := reading.Point{Gland: gland, Kind: reading.Drip}
	return Feed{Name: gland, Points: []reading.Point{p}, Key: key, Open: func() (s sensors.Source, err error) {
		*runs++
		return scripted{[]reading.Point{p}, func(ctx context.Context, emit func(reading.Reading)) error {
			for n := 1.0; ; n++ {
				emit(reading.Reading{At: c.Steady(), Point: p, Value: numbered(n)})
				select {
				case <-ctx.Done():
					return nil
				case <-time.After(100 * time.Millisecond):
				}
			}
		}}, nil
	}}
}

// numbered leaves out 667, at which `dry` clears.
func numbered(n float64) float64 {
	if n >= 667 {
		return n + 1000
	}
	return n
}

func glandOf(id string) GlandInfo {
	return GlandInfo{Name: id, Rules: rules.GlandConfig{
		ID: id, NormalDPM: 30, Fitted: rules.Fitted{reading.Drip: true},
		Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
	}}
}

// A change of limits with a gland taken out, one added and one with another
// sensor: the core is told, sources that did not change neither stop nor lose a
// reading, an acknowledged alarm stays so, the journal says what changed.
func TestReconfigureWhileRunning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var a, b, c, again int
		var l *bench
		one := glandOf
		l = start(t, nil, nil, func(c0 *Clock) []Feed {
			return []Feed{counted(c0, "a", "ka", &a), counted(c0, "b", "kb", &b), counted(c0, "c", "kc", &c)}
		}, func(o *Options) { o.Glands = []GlandInfo{one("a"), one("b"), one("c")} })
		time.Sleep(70 * time.Second) // value 666 has come: `dry`
		if r := l.agent.Do(t.Context(), Command{ID: "c1", Action: "acknowledge", Gland: "a", Condition: "dry", By: "operator"}); !r.OK {
			t.Fatalf("%+v", r)
		}
		changed := one("a")
		changed.Name, changed.Rules.Limits.DryDPM = "Pump 1", 10
		var d int
		err := l.agent.Reconfigure(t.Context(), Reconfiguration{
			Station: "quarry", Glands: []GlandInfo{one("d"), changed, one("c")}, Alarms: l.agent.loop.settings,
			Feeds:   []Feed{counted(l.clock, "a", "ka", &again), counted(l.clock, "c", "kc, slower", &c), counted(l.clock, "d", "kd", &d)},
			Changes: []Change{{Key: "glands.a.limits.dry_dpm", Old: "15 dpm", New: "10 dpm"}},
		})
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Minute)
		latest := l.agent.Board().Latest()
		if err := l.stop(); err != nil {
			t.Fatal(err)
		}
		if a != 1 || again != 0 || c != 2 || d != 1 {
			t.Errorf("sources started: a %d and %d, c %d, d %d", a, again, c, d)
		}
		losesNothing(t, l.core)
		showsTheChange(t, l.core.configured, latest)
		events, _ := l.journal.Events(t.Context(), 0, 100)
		e := events[len(events)-1]
		if e.Kind != EventConfig || len(e.Changes) != 1 || !strings.Contains(e.Message, "glands.a.limits.dry_dpm 15 dpm → 10 dpm") {
			t.Errorf("journal: %+v", e)
		}
	})
}

// losesNothing: no reading of the source that did not change, and the other one says
// that it may have.
func losesNothing(t *testing.T, core *recordingCore) {
	t.Helper()
	values := core.values(dripA)
	for i, v := range values {
		if v != numbered(float64(i+1)) {
			t.Fatalf("reading %d of a is %g: one was lost or came twice", i+1, v)
		}
	}
	if len(values) < 1290 {
		t.Errorf("only %d readings of a", len(values))
	}
	lost := 0
	for _, r := range core.fed {
		if r.Quality == reading.Lost {
			lost++
		}
	}
	if lost != 1 {
		t.Errorf("%d readings of quality lost, want one of c", lost)
	}
}

func showsTheChange(t *testing.T, configured []rules.Config, latest *Snapshot) {
	t.Helper()
	if got := configured; len(got) != 1 || got[0].Glands[0].ID != "d" || got[0].Glands[1].Limits.DryDPM != 10 {
		t.Errorf("the core was told %+v", got)
	}
	if latest.Station != "quarry" || len(latest.Glands) != 3 || latest.Glands[1].Name != "Pump 1" || !latest.Glands[1].Points[reading.Drip].Good() {
		t.Errorf("shown: %+v", latest.Glands)
	}
	at := slices.IndexFunc(latest.Alarms, func(a Alarm) bool { return a.Gland == "a" && a.Condition == "dry" })
	if dry := latest.Alarms[at]; dry.Life() != alarm.Acknowledged || dry.By != "operator" {
		t.Errorf("the alarm: %+v", dry)
	}
	if slices.ContainsFunc(latest.Alarms, func(a Alarm) bool { return a.Gland == "b" && a.Standing() }) {
		t.Error("an alarm of b stands")
	}
}

// A refusal is journalled once, shown while it lasts, and over with the next
// valid configuration.
func TestRefusedConfiguration(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := start(t, nil, nil, drips)
		for range 2 {
			if err := l.agent.RefuseConfig(t.Context(), "a.yaml:3:1: wrong"); err != nil {
				t.Fatal(err)
			}
		}
		if trouble := l.agent.Board().Latest().Config.Trouble(); trouble == nil || trouble.Problem != "a.yaml:3:1: wrong" || trouble.Since.IsZero() {
			t.Errorf("shown: %+v", trouble)
		}
		bad := glandOf("a")
		bad.Rules.Limits.DryDPM = 100
		if err := l.agent.Reconfigure(t.Context(), Reconfiguration{Glands: []GlandInfo{bad}}); err == nil {
			t.Error("dry above leak is taken")
		}
		feeds := []Feed{}
		if err := l.agent.Reconfigure(t.Context(), Reconfiguration{Station: "s", Glands: []GlandInfo{glandOf("a")}, Feeds: feeds}); err != nil {
			t.Fatal(err)
		}
		if trouble := l.agent.Board().Latest().Config.Trouble(); trouble != nil {
			t.Errorf("still shown: %+v", trouble)
		}
		if err := l.stop(); err != nil {
			t.Fatal(err)
		}
		events, _ := l.journal.Events(t.Context(), 0, 100)
		if got := kinds(events); !slices.Equal(got, []string{EventConfig, EventConfig}) {
			t.Errorf("journal: %v", got)
		}
		if err := l.agent.RefuseConfig(t.Context(), "late"); err == nil {
			t.Error("no error after the end")
		}
	})
}

// An alarm of a gland that is taken out is taken leave of, with an event, and its
// state is not kept.
func TestGlandTakenOutWithAnAlarm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := start(t, nil, nil, func(c *Clock) []Feed { return []Feed{counted(c, "a", "ka", new(int))} })
		time.Sleep(70 * time.Second)
		if err := l.agent.Reconfigure(t.Context(), Reconfiguration{Station: "s", Glands: []GlandInfo{glandOf("b")}}); err != nil {
			t.Fatal(err)
		}
		latest := l.agent.Board().Latest()
		if err := l.stop(); err != nil {
			t.Fatal(err)
		}
		events, _ := l.journal.Events(t.Context(), 0, 100)
		e := events[len(events)-1]
		if e.Kind != EventAlarm || e.Gland != "a" || e.Condition != "dry" || e.State != StateCleared {
			t.Errorf("journal: %+v", e)
		}
		for _, a := range latest.Alarms {
			if a.Gland == "a" && a.Standing() {
				t.Errorf("%+v stands", a)
			}
		}
	})
}
