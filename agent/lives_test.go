package agent

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"weepd/rules"
	"weepd/rules/reading"
)

// script is a drip sensor that a test makes dry (666) and well again (667).
type script struct {
	mu   sync.Mutex
	next []float64
}

func (s *script) say(v float64) { s.mu.Lock(); defer s.mu.Unlock(); s.next = append(s.next, v) }

func (s *script) feeds(c *Clock) []Feed {
	return []Feed{FixedFeed(scripted{[]reading.Point{dripA}, func(ctx context.Context, emit func(reading.Reading)) error {
		for {
			s.mu.Lock()
			value := 1.0
			if len(s.next) > 0 {
				value, s.next = s.next[0], s.next[1:]
			}
			s.mu.Unlock()
			emit(reading.Reading{At: c.Steady(), Point: dripA, Value: value})
			select {
			case <-ctx.Done():
				return nil
			case <-time.After(time.Second):
			}
		}
	}})}
}

// wallClock is a wall clock that tests set.
type wallClock struct {
	mu    sync.Mutex
	shift time.Duration
}

func (w *wallClock) now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return time.Now().Add(w.shift)
}

func (w *wallClock) set(shift time.Duration) { w.mu.Lock(); defer w.mu.Unlock(); w.shift = shift }

// life is one run of an agent on a disk that outlives it.
type life struct {
	*bench
	script *script
	ledger *Ledger
}

func liveOn(t *testing.T, disk *fakeDisk, wall *wallClock, changes ...func(*Options)) *life {
	t.Helper()
	l := &life{script: &script{}}
	l.ledger = NewLedger(disk, true, slog.New(slog.DiscardHandler))
	changes = append(changes, func(o *Options) {
		if len(disk.stored()) > 0 {
			o.Remembered = disk.remember()
		}
	})
	l.bench = start(t, wall.now, l.ledger, l.script.feeds, changes...)
	time.Sleep(3 * time.Second)
	return l
}

// die ends the run; with crash, what it said in parting is not on the disk.
func (l *life) die(t *testing.T, disk *fakeDisk, crash bool) {
	t.Helper()
	disk.mu.Lock()
	stopped, last := disk.stopped, disk.last
	disk.mu.Unlock()
	if err := l.stop(); err != nil {
		t.Fatal(err)
	}
	if crash {
		disk.stopped, disk.last = stopped, last
	}
}

func (l *life) dry() Alarm { return l.agent.Board().Latest().Alarms[rules.Dry] }

func (l *life) command(t *testing.T, id, action string, more ...string) Reply {
	t.Helper()
	c := Command{ID: id, Action: action, Gland: "a", Condition: "dry", By: "operator"}
	for _, m := range more {
		key, value, _ := strings.Cut(m, "=")
		switch key {
		case "for":
			c.For = value
		case "by":
			c.By = value
		case "gland":
			c.Gland = value
		case "condition":
			c.Condition = value
		case "note":
			c.Note = value
		case "kind":
			c.Kind = value
		case "value":
			c.Value = json.RawMessage(value)
		default:
			t.Fatalf("no field %s", key)
		}
	}
	return l.agent.Do(t.Context(), c)
}

func kinds(events []Event) (out []string) {
	for _, e := range events {
		word := e.Kind
		if e.Kind == EventAlarm {
			word = e.Was + ">" + e.AlarmState + " " + e.State
		}
		out = append(out, word)
	}
	return out
}

func wantEvents(t *testing.T, disk *fakeDisk, want ...string) {
	t.Helper()
	if got := kinds(disk.stored()); !slices.Equal(got, want) {
		t.Errorf("events\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	for i, e := range disk.stored() {
		if e.Seq != uint64(i+1) {
			t.Errorf("event %d has seq %d", i, e.Seq)
		}
	}
}
