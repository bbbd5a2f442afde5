package agent

import (
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/alarm"
	"weepd/rules/upkeep"
)

func (l *life) records(t *testing.T, id, kind, value string) Reply {
	t.Helper()
	return l.command(t, id, "record", "condition=", "kind="+kind, "value="+value)
}

func (l *life) upkeep() *UpkeepState { return l.agent.Board().Latest().Glands[0].Upkeep }

func (l *life) brings(f rules.Fresh) {
	l.core.mu.Lock()
	l.core.fresh = append(l.core.fresh, f)
	if f.Step != nil { // as the core does
		l.core.life("a").Record(upkeep.Entry{At: f.Step.At, Kind: upkeep.Noticed, Value: upkeep.Value{Before: f.Step.BeforeDPM, After: f.Step.AfterDPM}})
	}
	l.core.mu.Unlock()
	time.Sleep(2 * time.Second)
}

func TestEntriesAreRefusedWithAReason(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{}
		l := liveOn(t, disk, &wallClock{})
		later := l.agent.clock.Wall(l.agent.clock.Steady()).Add(time.Hour).Format(time.RFC3339)
		for i, c := range []struct{ kind, value, says string }{
			{"", "", "kind is missing"},
			{"adjustment", "", `no kind "adjustment"; want adjusted, repacked`},
			{"noticed", "", `no kind "noticed"`},
			{"adjusted", `{"flats":"x"}`, "flats is a string"},
			{"adjusted", `{"flats":1,"step":3}`, "no offer 3 at a"},
			{"adjusted", `{"flats":1,"at":"` + later + `"}`, "after now"},
			{"adjusted", `{"flats":1,"at":"1997-01-01T00:00:00Z"}`, "more than a year ago"},
			{"corrected", `{"seq":9,"void":true}`, "no entry 9 of a"},
		} {
			r := l.records(t, "x"+string(rune('a'+i)), c.kind, c.value)
			if r.OK || r.Reason != ReasonMalformed || !strings.Contains(r.Error, c.says) {
				t.Errorf("%s %s: %+v, want %q", c.kind, c.value, r, c.says)
			}
		}
		if r := l.command(t, "z", "record", "condition=", "kind=adjusted", `value={"flats":1}`, "gland=b"); r.Reason != alarm.UnknownAlarm.String() {
			t.Errorf("another gland: %+v", r)
		}
		l.die(t, disk, false)
		if len(disk.upkeep) != 0 {
			t.Errorf("recorded %+v", disk.upkeep)
		}
	})
}

// A step is offered as an event of its own kind, is no alarm, is confirmed or
// dismissed by an entry, and waits over a restart.
func TestAStepIsOffered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		l := liveOn(t, disk, wall)
		for i := range 2 {
			at := l.agent.clock.Steady() - time.Duration(10-4*i)*time.Hour
			l.brings(rules.Fresh{Gland: "a", Step: &upkeep.Step{At: at, BeforeDPM: 58, AfterDPM: 31}})
		}
		e := disk.stored()[0]
		if e.Kind != EventStep || e.Gland != "a" || e.Condition != "" || !strings.HasPrefix(e.Message, "Adjusted? The weep fell from 58 to 31 drops/min at about ") {
			t.Errorf("event %+v", e)
		}
		if u := l.upkeep(); len(u.Offers) != 2 || u.Offers[0].Seq != 1 || u.Offers[1].Seq != 2 || len(u.Entries) != 0 {
			t.Fatalf("offers %+v", u.Offers)
		}
		l.die(t, disk, true)
		time.Sleep(time.Hour)
		l = liveOn(t, disk, wall)
		l.answersOffers(t, e)
		l.die(t, disk, false)
		for _, e := range disk.stored() {
			if e.Kind == EventAlarm {
				t.Errorf("an alarm: %+v", e)
			}
		}
	})
}

// answersOffers confirms the first of two offers and dismisses the other.
func (l *life) answersOffers(t *testing.T, e Event) {
	t.Helper()
	if u := l.upkeep(); len(u.Offers) != 2 || (u.Offers[0].Time.Sub(e.Time)+10*time.Hour).Abs() > time.Minute {
		t.Fatalf("after a restart %+v", u.Offers)
	}
	if r := l.records(t, "c1", "corrected", `{"seq":2,"value":{"flats":1}}`); r.OK || !strings.Contains(r.Error, "confirm it by recording adjusted") {
		t.Errorf("%+v", r)
	}
	if r := l.records(t, "c2", "adjusted", `{"flats":1,"step":1}`); !r.OK {
		t.Fatal(r)
	}
	if r := l.records(t, "c3", "corrected", `{"seq":2,"void":true}`); !r.OK {
		t.Fatal(r)
	}
	u := l.upkeep()
	if len(u.Offers) != 0 || len(u.Entries) != 1 || u.Entries[0].Words != "tightened by 1 flat" || len(u.Adjustments) != 1 || !u.Adjustments[0].Recorded {
		t.Errorf("offers %+v, entries %+v, adjustments %+v", u.Offers, u.Entries, u.Adjustments)
	}
}

// A run-in that is over is kept with its curve, shown again after a restart and
// not taken up again.
func TestRunInIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		long := func(o *Options) { o.Glands[0].Rules.Timing.RunIn = 4 * time.Hour }
		l := liveOn(t, disk, wall, long)
		if r := l.records(t, "c1", "repacked", `{"rings":5}`); !r.OK {
			t.Fatal(r)
		}
		from := l.core.repacked["a"]
		time.Sleep(time.Hour)
		r := upkeep.RunIn{Known: true, From: from, Ended: from + time.Hour, Outcome: "in-band", Stage: 4, Stages: 5, TargetDPM: 30, LeastDPM: 15, MostDPM: 60, Next: "Over."}
		for i := range 240 {
			r.Curve = append(r.Curve, upkeep.RunInPoint{At: from + time.Duration(i)*15*time.Second, DPM: 100 - float64(i)/4, RiseC: math.NaN(), TargetDPM: 30})
		}
		l.brings(rules.Fresh{Gland: "a", RunIn: &r})
		check := func(when string) {
			t.Helper()
			got := l.upkeep().RunIn
			if got == nil || got.Active || got.Outcome != "the weep is steady in its band" || got.Stage != 5 || len(got.Curve) != keptCurve {
				t.Fatalf("%s: %+v", when, got)
			}
			if p := got.Curve[1]; p.DPM == nil || *p.DPM != 99.25 || p.RiseC != nil || p.TargetDPM != 30 || p.Time.Sub(got.From) != 45*time.Second {
				t.Errorf("%s: point %+v of %s", when, p, got.From)
			}
		}
		check("at its end")
		l.die(t, disk, false)
		l = liveOn(t, disk, wall, long)
		check("after a restart")
		if _, again := l.core.repacked["a"]; again {
			t.Error("the run-in was taken up again")
		}
		if e := disk.stored()[1]; e.Kind != EventUpkeep || e.Message != "Run-in over: the weep is steady in its band." {
			t.Errorf("event %+v", e)
		}
		l.die(t, disk, false)
	})
}

// Entries are put where the work was done, whatever the clock did: under a clock
// that is behind they wait for it.
func TestUpkeepWaitsForTheClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		l := liveOn(t, disk, wall)
		done := l.agent.clock.Wall(l.agent.clock.Steady())
		if r := l.records(t, "c1", "adjusted", `{"flats":2}`); !r.OK {
			t.Fatal(r)
		}
		l.die(t, disk, true)
		time.Sleep(2 * time.Hour)
		wall.set(-30 * 365 * 24 * time.Hour)
		l = liveOn(t, disk, wall)
		if u := l.upkeep(); u == nil || len(u.Entries) != 0 {
			t.Errorf("while the time is not known: %+v", u)
		}
		wall.set(0)
		time.Sleep(5 * time.Second)
		u := l.upkeep()
		if len(u.Entries) != 1 || u.Entries[0].Time.Sub(done).Abs() > 2*time.Second {
			t.Errorf("once it is known: %+v, done %s", u.Entries, done)
		}
		l.die(t, disk, true)
	})
}
