package agent

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors"
)

var (
	dripA = reading.Point{Gland: "a", Kind: reading.Drip}
	tempA = reading.Point{Gland: "a", Kind: reading.Temp}
)

// recordingCore notes what it is fed; a reading of value 666 makes `dry` active.
type recordingCore struct {
	mu  sync.Mutex
	fed []reading.Reading
	now time.Duration
	t   *testing.T
}

func (c *recordingCore) Feed(r reading.Reading) ([]rules.Transition, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r.At < c.now {
		c.t.Errorf("fed %s after %s", r.At, c.now)
	}
	c.now = r.At
	c.fed = append(c.fed, r)
	if r.Value == 666 {
		return []rules.Transition{{At: r.At, Gland: "a", Condition: rules.Dry, Active: true, Priority: rules.High, Message: "dry"}}, nil
	}
	return nil, nil
}

func (c *recordingCore) Advance(at time.Duration) []rules.Transition {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = max(c.now, at)
	return nil
}

func (c *recordingCore) Next() (time.Duration, bool) { return 0, false }

func (c *recordingCore) Gland(id string) (rules.GlandState, bool) {
	return rules.GlandState{ID: id}, true
}

func (c *recordingCore) values(p reading.Point) (out []float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.fed {
		if r.Point == p && r.Quality.OK() {
			out = append(out, r.Value)
		}
	}
	return out
}

func (c *recordingCore) noAnswers(p reading.Point) (n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.fed {
		if r.Point == p && r.Quality == reading.NoAnswer {
			n++
		}
	}
	return n
}

// scripted is a source whose run is a function.
type scripted struct {
	points []reading.Point
	run    func(ctx context.Context, emit func(reading.Reading)) error
}

func (s scripted) Points() []reading.Point { return s.points }
func (s scripted) String() string          { return "scripted" }
func (s scripted) Run(ctx context.Context, emit func(reading.Reading)) error {
	return s.run(ctx, emit)
}

// logBook is a log that tests can read.
type logBook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *logBook) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logBook) count(s string) int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Count(b.text.String(), s)
}

type bench struct {
	agent   *Agent
	core    *recordingCore
	journal *MemoryJournal
	clock   *Clock
	log     *logBook
	stop    func() error
}

// start runs an agent on gland a inside a synctest bubble.
func start(t *testing.T, wall func() time.Time, journal Journal, feeds func(c *Clock) []Feed) *bench {
	t.Helper()
	b := &bench{core: &recordingCore{t: t}, journal: NewMemoryJournal(100, true), clock: NewClock(wall), log: &logBook{}}
	if journal == nil {
		journal = b.journal
	}
	log := slog.New(slog.NewTextHandler(b.log, nil))
	b.agent = newAgent(Options{
		Station: "s", Journal: journal, Clock: b.clock, Log: log, Feeds: feeds(b.clock),
		Glands: []GlandInfo{{Name: "A", Rules: rules.GlandConfig{ID: "a", Fitted: rules.Fitted{reading.Drip: true, reading.Temp: true}}}},
	}, b.core)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- RunAll(ctx, log, b.agent.Services()...) }()
	b.stop = func() error { cancel(); return <-done }
	return b
}

func steadyDrips(ctx context.Context, c *Clock, emit func(reading.Reading)) error {
	for {
		emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 1})
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(time.Second):
		}
	}
}

func drips(c *Clock) []Feed {
	return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
		return steadyDrips(ctx, c, emit)
	}})}
}

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

func TestFailingSourceIsRestartedWithGrowingWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var opened []time.Duration
		b := start(t, nil, nil, func(c *Clock) []Feed {
			return []Feed{{Name: "probe", Points: []reading.Point{dripA}, Open: func() (sensors.Source, error) {
				opened = append(opened, c.Steady())
				if len(opened) < 8 {
					return nil, errors.New("open probe: no such device")
				}
				return scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
					return steadyDrips(ctx, c, emit)
				}}, nil
			}}}
		})
		time.Sleep(5 * time.Minute)
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		checkWaits(t, opened)
		if n := b.log.count("source failed"); n != 1 {
			t.Errorf("%d log lines for one failure, want 1", n)
		}
		if n := b.log.count("source answers again"); n != 1 {
			t.Errorf("%d log lines for one recovery, want 1", n)
		}
		if b.core.noAnswers(dripA) < 8 {
			t.Error("the points of a failing source must count as not answering")
		}
		if len(b.core.values(dripA)) < 100 {
			t.Error("the source did not come back")
		}
	})
}

func checkWaits(t *testing.T, opened []time.Duration) {
	t.Helper()
	if len(opened) != 8 {
		t.Fatalf("opened %d times, want 8", len(opened))
	}
	wait := retryFirst
	for i := 1; i < len(opened); i++ {
		if got := opened[i] - opened[i-1]; got < wait/2 || got > wait+time.Millisecond {
			t.Errorf("wait %d was %s, want %s to %s", i, got, wait/2, wait)
		}
		wait = min(2*wait, retryMost)
	}
}

func TestEndedAndSilentSourcesCountAsNotAnswering(t *testing.T) {
	ends := func(_ context.Context, _ func(reading.Reading)) error { return nil }
	hangs := func(ctx context.Context, _ func(reading.Reading)) error { <-ctx.Done(); return nil }
	for name, run := range map[string]func(context.Context, func(reading.Reading)) error{"ends": ends, "hangs": hangs} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := start(t, nil, nil, func(*Clock) []Feed {
					return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, run})}
				})
				time.Sleep(2 * time.Minute)
				if err := b.stop(); err != nil {
					t.Fatal(err)
				}
				if n := b.core.noAnswers(dripA); n < 4 {
					t.Errorf("%d readings of NoAnswer in two minutes, want at least 4", n)
				}
			})
		})
	}
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

// failingJournal fails until told otherwise.
type failingJournal struct {
	*MemoryJournal
	fail bool
	mu   sync.Mutex
}

func (j *failingJournal) set(fail bool) { j.mu.Lock(); defer j.mu.Unlock(); j.fail = fail }

func (j *failingJournal) Commit(ctx context.Context, events []Event) ([]Event, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.fail {
		return nil, errors.New("disk full")
	}
	return j.MemoryJournal.Commit(ctx, events)
}

func TestAlarmsShowWhileTheJournalFailsAndAreStoredLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &failingJournal{MemoryJournal: NewMemoryJournal(10, true), fail: true}
		b := start(t, nil, j, func(c *Clock) []Feed {
			return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
				emit(reading.Reading{At: c.Steady(), Point: dripA, Value: 666})
				return steadyDrips(ctx, c, emit)
			}})}
		})
		time.Sleep(20 * time.Second)
		if s := b.agent.Board().Latest(); !s.Alarms[rules.Dry].Active() || s.Alarms[rules.Dry].Seq != 0 || s.Unsaved != 1 {
			t.Errorf("while failing: alarm %+v, unsaved %d", s.Alarms[rules.Dry], s.Unsaved)
		}
		j.set(false)
		time.Sleep(3 * time.Second)
		if s := b.agent.Board().Latest(); s.Alarms[rules.Dry].Seq != 1 || s.Unsaved != 0 {
			t.Errorf("afterwards: alarm %+v, unsaved %d", s.Alarms[rules.Dry], s.Unsaved)
		}
		if err := b.stop(); err != nil {
			t.Fatal(err)
		}
		if n := b.log.count("journal cannot store"); n != 1 {
			t.Errorf("%d log lines for one failure, want 1", n)
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
