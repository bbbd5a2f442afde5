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

func TestRecorderKeepsWhatIsKnownOfAGland(t *testing.T) {
	history := &fakeHistory{}
	r := NewRecorder(history, NewClock(nil), slog.New(slog.DiscardHandler))
	known := func(v float64) rules.Quantity { return rules.Quantity{Value: v, Known: true} }
	r.Past(time.Unix(60, 0), rules.GlandState{
		ID: "a", Weep: rules.Weep{DPM: 30, LowDPM: 20, HighDPM: 40, Known: true}, RiseC: known(9), TempC: known(25), Running: known(1),
	})
	r.Past(time.Unix(120, 0), rules.GlandState{ID: "a", Running: known(0)})
	r.handOver(t.Context())
	for _, call := range []string{"a.dpm=30", "a.dpm95=20", "a.dpm95=40", "a.rise=9", "a.temp=25", "a.rest=1"} {
		if history.count(call) != 1 {
			t.Errorf("%s: %d times, want 1; calls %q", call, history.count(call), history.calls)
		}
	}
}

// A source that brings its past fills the history's minutes.
func TestPastOfASourceIsInTheHistory(t *testing.T) {
	history := &fakeHistory{}
	clock := NewClock(nil)
	recorder := NewRecorder(history, clock, slog.New(slog.DiscardHandler))
	glands, feeds, err := Demo(clock)
	if err != nil {
		t.Fatal(err)
	}
	a, err := New(Options{
		Station: "quarry", Glands: glands, Feeds: feeds, Alarms: DemoAlarms(), Clock: clock, History: recorder,
		Journal: NewMemoryJournal(100, false), Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- RunAll(ctx, slog.New(slog.DiscardHandler), a.Services()...) }()
	enough := func() bool {
		recorder.mu.Lock()
		defer recorder.mu.Unlock()
		return len(recorder.past) >= 6*175
	}
	for until := time.Now().Add(time.Minute); !enough() && time.Now().Before(until); {
		time.Sleep(10 * time.Millisecond)
	}
	cancel()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if !enough() {
		t.Fatalf("%d minutes of six glands, want nearly three hours", len(recorder.past))
	}
}
