//go:build kernel

package kernel

import (
	"context"
	"sync"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules/reading"
	"weepd/sensors"
)

// running is a source that runs, on the agent's clock, and what it said.
type running struct {
	mu   sync.Mutex
	said []reading.Reading
	stop func()
}

// run starts a source; emit, if any, is called before a reading is kept.
func run(t *testing.T, s sensors.Source, emit func(reading.Reading)) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	r := &running{}
	done := make(chan error, 1)
	go func() {
		done <- s.Run(ctx, func(one reading.Reading) {
			if emit != nil {
				emit(one)
			}
			r.mu.Lock()
			defer r.mu.Unlock()
			r.said = append(r.said, one)
		})
	}()
	r.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("%s: Run = %v", s, err)
		}
	})
	t.Cleanup(r.stop)
	return r
}

func (r *running) all() []reading.Reading {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]reading.Reading(nil), r.said...)
}

// drops are the good readings above 0.
func (r *running) drops() (drops []reading.Reading) {
	for _, one := range r.all() {
		if one.Quality.OK() && one.Value > 0 {
			drops = append(drops, one)
		}
	}
	return drops
}

func (r *running) total() (n int) {
	for _, one := range r.drops() {
		n += int(one.Value)
	}
	return n
}

func (r *running) count(q reading.Quality) (n int) {
	for _, one := range r.all() {
		if one.Quality == q {
			n++
		}
	}
	return n
}

// last gives the latest reading.
func (r *running) last() (one reading.Reading) {
	if all := r.all(); len(all) > 0 {
		one = all[len(all)-1]
	}
	return one
}

// until waits for something that must come.
func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !ok(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came that %s", what)
		}
	}
}

// clocks gives the agent's steady clock and what CLOCK_MONOTONIC is behind it,
// by the narrowest of many looks at both.
func clocks() (steady sensors.Clock, behind time.Duration) {
	steady = agent.NewClock(nil).Steady
	width := time.Hour
	for range 1000 {
		before := monotonic()
		s := steady()
		after := monotonic()
		if after-before < width {
			width, behind = after-before, s-before-(after-before)/2
		}
	}
	return steady, behind
}
