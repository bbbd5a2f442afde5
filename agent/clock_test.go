package agent

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

func TestWallClockStepIsAnEventAndTouchesNothingElse(t *testing.T) {
	for _, step := range []time.Duration{56 * 365 * 24 * time.Hour, -24 * time.Hour, time.Hour, 1500 * time.Millisecond} {
		t.Run(step.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var mu sync.Mutex
				var shift time.Duration
				wall := func() time.Time { mu.Lock(); defer mu.Unlock(); return time.Now().Add(shift) }
				b := start(t, wall, nil, drips)
				time.Sleep(90 * time.Second)
				before := b.clock.Steady()
				mu.Lock()
				shift = step
				mu.Unlock()
				time.Sleep(90 * time.Second)
				if elapsed := b.clock.Steady() - before; elapsed != 90*time.Second {
					t.Errorf("steady time moved by %s in 90 s", elapsed)
				}
				if err := b.stop(); err != nil {
					t.Fatal(err)
				}
				checkClockEvents(t, b, step)
				if bad := b.core.noAnswers(dripA); bad != 0 {
					t.Errorf("%d readings of NoAnswer came from a clock step", bad)
				}
				if off := b.agent.Board().Latest().Time.Sub(wall()).Abs(); off > time.Second {
					t.Errorf("the board's time is %s off the wall clock", off)
				}
			})
		})
	}
}

func checkClockEvents(t *testing.T, b *bench, step time.Duration) {
	t.Helper()
	events, _ := b.journal.Events(t.Context(), 0, 10)
	if step.Abs() <= clockStep {
		if len(events) != 0 {
			t.Errorf("events %+v, want none", events)
		}
		return
	}
	if len(events) != 1 || events[0].Kind != EventClock || *events[0].StepS != step.Seconds() {
		t.Errorf("events %+v, want one of kind clock with step %s", events, step)
	}
}

// A station of recordings runs as much faster as they do; what happens is
// stamped with the time at which it happens here.
func TestHurriedClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(nil)
		c.Speed = 10
		unhurried := c.Unhurried()
		before, began := unhurried(), time.Now()
		time.Sleep(time.Minute)
		if got := c.Steady() - before; got != 10*time.Minute {
			t.Errorf("steady time moved by %s, want 10 min", got)
		}
		if got := unhurried() - before; got != time.Minute {
			t.Errorf("the unhurried clock moved by %s, want 1 min", got)
		}
		if got := c.Wall(before + 5*time.Minute).Sub(began); got != 30*time.Second {
			t.Errorf("halfway was at %s after the start, want 30 s", got)
		}
		if step, stepped := c.Check(); stepped {
			t.Errorf("a hurried clock is no step: %s", step)
		}
	})
}
