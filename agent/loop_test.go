package agent

import (
	"context"
	"log/slog"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

func TestReadingsOfTwoSourcesAreFedInOrderOfTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, nil, nil, func(c *Clock) []Feed {
			slow := scripted{[]reading.Point{tempA}, func(ctx context.Context, emit func(reading.Reading)) error {
				for range 50 {
					at := c.Steady()
					time.Sleep(20 * time.Millisecond) // the conversion takes time, the stamp is from before
					emit(reading.Reading{At: at, Point: tempA, Value: 40})
				}
				<-ctx.Done()
				return nil
			}}
			fast := scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				for range 200 {
					emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 1})
					time.Sleep(7 * time.Millisecond)
				}
				<-ctx.Done()
				return nil
			}}
			return []Feed{FixedFeed(slow), FixedFeed(fast)}
		})
		time.Sleep(3 * time.Second)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		if n, m := len(b.core.values(tempA)), len(b.core.values(dripA)); n != 50 || m != 200 {
			t.Errorf("fed %d temperatures, %d drips, want 50 and 200", n, m)
		}
		if !slices.IsSortedFunc(b.core.fed, func(a, b reading.Reading) int { return int(a.At - b.At) }) {
			t.Error("fed out of order")
		}
	})
}

func TestStopFeedsWhatTheSourcesLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, nil, nil, func(c *Clock) []Feed {
			return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				<-ctx.Done()
				emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 666})
				return nil
			}})}
		})
		time.Sleep(time.Second)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		events, _ := b.journal.Events(t.Context(), 0, 10)
		if len(events) != 1 || events[0].Seq != 1 || events[0].Condition != "dry" || events[0].State != StateActive {
			t.Errorf("journal %+v, want one event: dry active, seq 1", events)
		}
		if a := b.agent.Board().Latest().Alarms[rules.Dry]; !a.Active() || a.Seq != 1 {
			t.Errorf("board shows %+v", a)
		}
	})
}

func TestFullQueueCountsAndMarksWhatIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := &logBook{}
		q := newQueue(2, slog.New(slog.NewTextHandler(log, nil)))
		for range 5 {
			q.push(t.Context(), reading.Reading{Point: dripA, Value: 1})
		}
		if n := q.dropped.Load(); n != 3 {
			t.Errorf("dropped %d, want 3", n)
		}
		if n := log.count("queue is full"); n != 1 {
			t.Errorf("%d log lines, want 1", n)
		}
		<-q.readings
		<-q.readings
		q.push(t.Context(), reading.Reading{Point: dripA, Value: 1})
		if r := <-q.readings; r.Quality != reading.Lost {
			t.Errorf("first reading after a loss is %v, want lost", r.Quality)
		}
		if r := <-q.readings; r.Quality != reading.Good || r.Value != 1 {
			t.Errorf("then %+v, want the reading itself", r)
		}
	})
}

func TestAlarmsGoOutWhileTheDiskFailsAndAreStoredLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &fakeDisk{mode: diskRefuses}
		log := &logBook{}
		ledger := NewLedger(disk, true, slog.New(slog.NewTextHandler(log, nil)))
		b := start(t, nil, ledger, func(c *Clock) []Feed {
			return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 666})
				return steadyDrips(ctx, c, emit)
			}})}
		})
		time.Sleep(20 * time.Second)
		s := b.agent.Board().Latest()
		if a := s.Alarms[rules.Dry]; !a.Active() || a.Seq != 1 || a.AlarmState != "unacknowledged" {
			t.Errorf("while failing: alarm %+v", a)
		}
		if s.Store.Waiting != 1 || s.Store.Problem == "" || disk.gaveOut() != 1 {
			t.Errorf("while failing: store %+v, given out %d", s.Store, disk.gaveOut())
		}
		if events, err := ledger.Pending(t.Context(), 0, 10); err != nil || len(events) != 1 {
			t.Errorf("while failing: pending %v, %v; want the event, from memory", events, err)
		}
		disk.set(diskWorks)
		time.Sleep(3 * time.Second)
		if s := b.agent.Board().Latest(); s.Store.Waiting != 0 || s.Store.Problem != "" {
			t.Errorf("afterwards: store %+v", s.Store)
		}
		if len(disk.stored()) != 1 || disk.kept("a/dry").Shown.Seq != 1 {
			t.Errorf("stored %+v, %+v", disk.stored(), disk.kept("a/dry"))
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		if n, m := log.count("cannot write"), log.count("writes again"); n != 1 || m != 1 {
			t.Errorf("%d and %d log lines for one failure, want 1 each", n, m)
		}
	})
}

func TestAliveOnlyWhileTheLoopTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, nil, nil, drips)
		time.Sleep(time.Minute)
		if !b.agent.Alive() {
			t.Error("not alive while running")
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Minute)
		if b.agent.Alive() {
			t.Error("alive after the stop")
		}
	})
}

// A source that brings its past is fed all of it at its own times; the core is
// not run ahead of it and the past is no silence.
func TestPastOfASourceIsFedAtItsOwnTimes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := start(t, nil, nil, func(c *Clock) []Feed {
			return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				now := c.Steady()
				for ago := time.Hour; ago > 0; ago -= time.Second {
					emit(reading.Reading{At: now - ago, Point: dripA, Value: 1})
				}
				return steadyDrips(ctx, c, emit)
			}})}
		})
		time.Sleep(time.Minute)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		if n := len(b.core.values(dripA)); n < 3600+59 {
			t.Errorf("fed %d drops, want an hour and a minute of them", n)
		}
		if n := b.core.noAnswers(dripA); n != 0 {
			t.Errorf("%d readings of NoAnswer", n)
		}
		if first := b.core.fed[0].At; b.core.now-first < time.Hour+59*time.Second {
			t.Errorf("the core saw %s, want an hour and a minute", b.core.now-first)
		}
	})
}
