package agent

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

const (
	raised = "normal>unacknowledged active"
	acked  = "unacknowledged>acknowledged active"
	shelve = "acknowledged>shelved active"
)

func TestAcknowledgedAlarmSurvivesACrash(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		l := liveOn(t, disk, wall)
		l.script.say(666)
		time.Sleep(2 * time.Second)
		if r := l.command(t, "c1", "acknowledge", "note=seen"); !r.OK {
			t.Fatal(r)
		}
		before := l.dry()
		l.die(t, disk, true)
		time.Sleep(2 * time.Hour)

		l = liveOn(t, disk, wall)
		if a := l.dry(); a.AlarmState != "acknowledged" || a.By != "operator" || a.Note != "seen" || !a.Active() ||
			!a.Since.Equal(*before.Since) || a.Seq != before.Seq || *a.DPM != 3 {
			t.Errorf("after the crash %+v, before %+v", a, before)
		}
		down := disk.stored()[2]
		if down.Kind != EventDown || down.To.Sub(*down.From) < 2*time.Hour || !strings.Contains(down.Message, "without being stopped") {
			t.Errorf("down %+v", down)
		}
		l.script.say(666) // the rules find it again
		time.Sleep(20 * time.Minute)
		if a := l.dry(); a.AlarmState != "acknowledged" {
			t.Errorf("found again: %+v", a)
		}
		if r := l.command(t, "c1", "acknowledge", "note=seen"); !r.OK {
			t.Errorf("the same command after the crash: %+v, want its first reply", r)
		}
		l.die(t, disk, false)
		wantEvents(t, disk, raised, acked, EventDown)

		l = liveOn(t, disk, wall)
		if last := disk.stored()[len(disk.stored())-1]; !strings.Contains(last.Message, "stopped by order") {
			t.Errorf("down %+v", last)
		}
		time.Sleep(9 * time.Minute)
		if a := l.dry(); !a.Active() {
			t.Errorf("cleared before the rules could know: %+v", a)
		}
		time.Sleep(2 * time.Minute)
		if a := l.dry(); a.Active() || a.AlarmState != "normal" {
			t.Errorf("not found again: %+v", a)
		}
		l.die(t, disk, false)
		wantEvents(t, disk, raised, acked, EventDown, EventDown, "acknowledged>normal cleared")
	})
}

func TestShelfEndsWhileTheAgentIsDown(t *testing.T) {
	for name, c := range map[string]struct {
		off  time.Duration
		want []string
		left time.Duration // of the shelf
	}{
		"goes on":  {10 * time.Minute, []string{raised, acked, shelve, EventDown}, 50 * time.Minute},
		"is ended": {2 * time.Hour, []string{raised, acked, shelve, EventDown, "shelved>unacknowledged active"}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				disk, wall := &fakeDisk{}, &wallClock{}
				l := liveOn(t, disk, wall)
				l.script.say(666)
				time.Sleep(2 * time.Second)
				l.command(t, "c1", "acknowledge")
				if r := l.command(t, "c2", "shelve", "for=1h"); !r.OK {
					t.Fatal(r)
				}
				until := *l.dry().Until
				l.die(t, disk, true)
				time.Sleep(c.off)
				l = liveOn(t, disk, wall)
				a := l.dry()
				if (a.Until != nil) != (c.left > 0) || a.Until != nil && a.Until.Sub(until).Abs() > 10*time.Millisecond {
					t.Errorf("shelf until %v, want %v", a.Until, until)
				}
				if c.left == 0 && disk.stored()[4].Time.Sub(until).Abs() > 10*time.Millisecond {
					t.Errorf("the shelf ended at %s, want %s", disk.stored()[4].Time, until)
				}
				l.die(t, disk, true)
				wantEvents(t, disk, c.want...)
			})
		})
	}
}

// The gateway wakes up in 1970 and learns the time later: then the time off
// counts, and only then.
func TestTimeOffUnderAClockThatIsBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		l := liveOn(t, disk, wall)
		l.script.say(666)
		time.Sleep(2 * time.Second)
		l.command(t, "c1", "acknowledge")
		l.command(t, "c2", "shelve", "for=50m")
		l.die(t, disk, true)
		time.Sleep(2 * time.Hour)
		wall.set(-30 * 365 * 24 * time.Hour)
		l = liveOn(t, disk, wall)
		l.script.say(666)
		time.Sleep(5 * time.Minute)
		if a := l.dry(); a.AlarmState != "shelved" {
			t.Errorf("while the time is not known: %+v", a)
		}
		wall.set(0)
		time.Sleep(5 * time.Second)
		if a := l.dry(); a.AlarmState != "unacknowledged" || !a.Active() {
			t.Errorf("once the time is known: %+v", a)
		}
		l.die(t, disk, true)
		wantEvents(t, disk, raised, acked, shelve, EventDown, EventClock, "shelved>unacknowledged active")
		if down := disk.stored()[3]; down.To != nil || !strings.Contains(down.Message, "not known") {
			t.Errorf("down %+v", down)
		}
		if clock := disk.stored()[4]; !strings.Contains(clock.Message, "had been down for 2h0m") {
			t.Errorf("clock %+v", clock)
		}
	})
}

// Whatever the wall clock does, no alarm is made or cleared and a shelf lasts
// as long as it was set for.
func TestAlarmsAndShelvesDoNotHeedTheWallClock(t *testing.T) {
	for name, step := range map[string]time.Duration{
		"from 1970": 56 * 365 * 24 * time.Hour, "back a day": -24 * time.Hour, "leap second": time.Second, "leap second back": -time.Second,
		"daylight saving": time.Hour, "and back": -time.Hour,
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				disk, wall := &fakeDisk{}, &wallClock{}
				l := liveOn(t, disk, wall)
				l.script.say(666)
				time.Sleep(2 * time.Second)
				l.command(t, "c1", "acknowledge")
				l.command(t, "c2", "shelve", "for=30m")
				wall.set(step)
				time.Sleep(29 * time.Minute)
				if a := l.dry(); a.AlarmState != "shelved" || a.Until.Sub(wall.now()) > time.Minute+clockStep || a.Until.Before(wall.now()) {
					t.Errorf("29 of 30 min later, at %s: %+v", wall.now(), a)
				}
				time.Sleep(2 * time.Minute)
				l.die(t, disk, false)
				want := []string{raised, acked, shelve}
				if step.Abs() > clockStep {
					want = append(want, EventClock)
				}
				wantEvents(t, disk, append(want, "shelved>unacknowledged active")...)
			})
		})
	}
}

func TestAlarmOfAGlandThatIsGoneIsForgotten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, wall := &fakeDisk{}, &wallClock{}
		l := liveOn(t, disk, wall)
		l.script.say(666)
		time.Sleep(2 * time.Second)
		l.die(t, disk, false)
		gone := func(o *Options) { o.Glands[0].Rules.ID, o.Feeds = "b", nil }
		l = liveOn(t, disk, wall, gone)
		latest := l.agent.Board().Latest().Alarms
		if a := latest[len(latest)-1]; a.Gland != "a" || a.Active() || a.AlarmState != "normal" {
			t.Errorf("shown as %+v, want cleared", a)
		}
		l.die(t, disk, false)
		wantEvents(t, disk, raised, EventDown, "unacknowledged>normal cleared")
		if len(disk.alarms) != 0 {
			t.Errorf("still kept: %v", disk.alarms)
		}
	})
}
