package agent

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// fakeHistory notes what it is told, in order.
type fakeHistory struct {
	mu       sync.Mutex
	readings int
	calls    []string
	fail     bool
}

func (h *fakeHistory) note(format string, args ...any) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.calls = append(h.calls, fmt.Sprintf(format, args...))
	if h.fail {
		return errors.New("no space left")
	}
	return nil
}

func (h *fakeHistory) count(call string) (n int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, c := range h.calls {
		if c == call {
			n++
		}
	}
	return n
}

func (h *fakeHistory) AddReadings(list ...reading.Reading) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.readings += len(list)
}

func (h *fakeHistory) Observe(series string, _ time.Time, v float64) { _ = h.note("%s=%g", series, v) }
func (h *fakeHistory) Flush(_ context.Context, now Stamp) error {
	return h.note("flush %s", now.Wall.Sub(time.Unix(0, int64(now.Steady))).Round(time.Second))
}
func (h *fakeHistory) FlushAll(context.Context, Stamp) error { return h.note("flush all") }
func (h *fakeHistory) Maintain(context.Context, Stamp) error { return h.note("maintain") }
func (h *fakeHistory) Heartbeat(Stamp) error                 { return h.note("heartbeat") }

func TestRecorderKeepsItsRhythm(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		history, wall, log := &fakeHistory{}, &wallClock{}, &logBook{}
		clock := NewClock(wall.now)
		r := NewRecorder(history, clock, slog.New(slog.NewTextHandler(log, nil)))
		board := NewBoard()
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- r.Service(board).Run(ctx) }()
		time.Sleep(observeEvery / 2) // between the recorder's turns
		known := rules.GlandState{Weep: rules.Weep{DPM: 30, Known: true}}
		for i := range 3600 {
			board.publish(&Snapshot{Time: wall.now(), Glands: []Gland{{GlandInfo: GlandInfo{Rules: rules.GlandConfig{ID: "a"}}, State: known}}})
			r.Add(reading.Reading{At: clock.Steady(), Point: dripA, Value: 1})
			if i == 1800 {
				wall.set(time.Hour)
				before := Stamp{Wall: clock.Wall(clock.Steady()), Steady: clock.Steady()}
				clock.Check()
				r.ClockSet(before)
			}
			time.Sleep(time.Second)
		}
		time.Sleep(time.Hour) // the loop stands still: nothing new is known
		cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if history.readings != 3600 || r.Dropped() != 0 {
			t.Errorf("%d readings, dropped %d, want 3600 and 0", history.readings, r.Dropped())
		}
		for call, want := range map[string][2]int{
			"a.dpm=30": {3590, 3600}, "heartbeat": {115, 121}, "maintain": {2, 3}, "flush 0s": {6, 8}, "flush 1h0m0s": {17, 19}, "flush all": {1, 1},
		} {
			if n := history.count(call); n < want[0] || n > want[1] {
				t.Errorf("%s: %d times, want %v", call, n, want)
			}
		}
		if history.calls[len(history.calls)-1] != "flush all" {
			t.Errorf("the last was %s", history.calls[len(history.calls)-1])
		}
		if log.count("\n") != 0 {
			t.Errorf("log %s", log.text.String())
		}
	})
}

func TestRecorderSaysOnceThatTheHistoryFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		history, log := &fakeHistory{fail: true}, &logBook{}
		r := NewRecorder(history, NewClock(nil), slog.New(slog.NewTextHandler(log, nil)))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- r.Service(NewBoard()).Run(ctx) }()
		time.Sleep(time.Hour)
		history.mu.Lock()
		history.fail = false
		history.mu.Unlock()
		time.Sleep(time.Hour)
		cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if log.count("cannot be written") != 1 || log.count("is written again") != 1 {
			t.Errorf("log:\n%s", log.text.String())
		}
	})
}

func TestRecorderIsBounded(t *testing.T) {
	r := NewRecorder(&fakeHistory{}, NewClock(nil), slog.New(slog.DiscardHandler))
	for range handedMost + 10 {
		r.Add(reading.Reading{})
	}
	if r.Dropped() != 10 {
		t.Errorf("dropped %d, want 10", r.Dropped())
	}
}
