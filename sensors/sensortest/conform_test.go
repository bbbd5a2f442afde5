package sensortest

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

var (
	drip = reading.Point{Gland: "a", Kind: reading.Drip}
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
)

// fake is a source that keeps the contract, except where a test bends it.
type fake struct {
	clock  sensors.Clock
	broken atomic.Bool
	runs   atomic.Int32

	points func(f *fake) []reading.Point
	name   string
	round  func(f *fake, emit func(reading.Reading)) // one poll
	run    func(f *fake, ctx context.Context, emit func(reading.Reading)) error
}

func newFake(clock sensors.Clock) *fake {
	return &fake{
		clock:  clock,
		name:   "fake",
		points: func(*fake) []reading.Point { return []reading.Point{drip, temp} },
		round:  honest,
		run:    (*fake).poll,
	}
}

func honest(f *fake, emit func(reading.Reading)) {
	q := reading.Good
	if f.broken.Load() {
		q = reading.NoAnswer
	}
	emitAll(f, emit, q)
}

func emitAll(f *fake, emit func(reading.Reading), q reading.Quality) {
	emit(reading.Reading{At: f.clock(), Point: drip, Quality: q})
	emit(reading.Reading{At: f.clock(), Point: temp, Value: 20, Quality: q})
}

func (f *fake) Points() []reading.Point { return f.points(f) }
func (f *fake) String() string          { return f.name }
func (f *fake) Break()                  { f.broken.Store(true) }
func (f *fake) Mend()                   { f.broken.Store(false) }

func (f *fake) Run(ctx context.Context, emit func(reading.Reading)) error {
	f.runs.Add(1)
	return f.run(f, ctx, emit)
}

func (f *fake) poll(ctx context.Context, emit func(reading.Reading)) error {
	for ctx.Err() == nil {
		f.round(f, emit)
		wait(ctx, 5*time.Second)
	}
	return nil
}

func wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}

func caseOf(bend func(*fake)) Case {
	return Case{New: func(_ testing.TB, clock sensors.Clock) (sensors.Source, Device) {
		f := newFake(clock)
		bend(f)
		return f, f
	}}
}

func TestAnHonestSourceConforms(t *testing.T) {
	Conform(t, caseOf(func(*fake) {}))
}

// Each source breaks one sentence of the contract; the suite must say so.
func TestEveryBreachIsFound(t *testing.T) {
	emits := func(readings ...reading.Reading) func(*fake) {
		return func(f *fake) {
			f.round = func(f *fake, emit func(reading.Reading)) {
				honest(f, emit)
				for _, r := range readings {
					if r.At == 0 {
						r.At = f.clock()
					}
					emit(r)
				}
			}
		}
	}
	breaches := []struct {
		name, want string
		bend       func(*fake)
	}{
		{"no points", "Points is empty", func(f *fake) { f.points = func(*fake) []reading.Point { return nil } }},
		{"twice", "Points names a.drip twice", func(f *fake) {
			f.points = func(*fake) []reading.Point { return []reading.Point{drip, temp, drip} }
		}},
		{"invalid point", "Points: point", func(f *fake) {
			f.points = func(*fake) []reading.Point { return []reading.Point{drip, temp, {Gland: "a b"}} }
		}},
		{"points change", "Points changed during Run", func(f *fake) {
			f.points = func(f *fake) []reading.Point { return []reading.Point{drip, temp}[f.runs.Load():] }
		}},
		{"nameless", "String is", func(f *fake) { f.name = "two\nlines" }},
		{"foreign point", "does not name", emits(reading.Reading{Point: reading.Point{Gland: "b"}})},
		{"time goes back", "At goes back", emits(reading.Reading{At: 1, Point: temp})},
		{"future", "in the future", emits(reading.Reading{At: math.MaxInt64, Point: temp})},
		{"not a number", "must be a number", emits(reading.Reading{Point: temp, Value: math.NaN()})},
		{"half a drop", "whole numbers", emits(reading.Reading{Point: drip, Value: 0.5})},
		{"half a turn", "the shaft turns", func(f *fake) {
			run := reading.Point{Gland: "a", Kind: reading.Run}
			f.points = func(*fake) []reading.Point { return []reading.Point{run} }
			f.round = func(f *fake, emit func(reading.Reading)) {
				emit(reading.Reading{At: f.clock(), Point: run, Value: 0.5})
			}
		}},
		{"two at a time", "two goroutines", func(f *fake) {
			f.round = func(f *fake, emit func(reading.Reading)) {
				done := make(chan bool)
				for range 2 {
					go func() {
						for range 500 {
							emit(reading.Reading{At: f.clock(), Point: temp})
						}
						done <- true
					}()
				}
				<-done
				<-done
			}
		}},
		{"silent drops", "a.drip is silent for", func(f *fake) {
			f.round = func(f *fake, emit func(reading.Reading)) { emit(reading.Reading{At: f.clock(), Point: temp}) }
		}},
		{"fault said once", "gives no bad reading for", func(f *fake) {
			f.round = func(f *fake, emit func(reading.Reading)) {
				if !f.broken.Load() {
					honest(f, emit)
				}
			}
		}},
		{"fault hidden", "good readings while its device is broken", func(f *fake) {
			f.round = func(f *fake, emit func(reading.Reading)) {
				emitAll(f, emit, reading.Good)
			}
		}},
		{"never recovers", "gives no good reading while its device works", func(f *fake) {
			ever := false
			f.round = func(f *fake, emit func(reading.Reading)) {
				if ever = ever || f.broken.Load(); ever {
					emitAll(f, emit, reading.Fault)
				} else {
					emitAll(f, emit, reading.Good)
				}
			}
		}},
		{"gives up", "Run returned when its device broke", func(f *fake) {
			f.run = func(f *fake, ctx context.Context, emit func(reading.Reading)) error {
				for ctx.Err() == nil && !f.broken.Load() {
					honest(f, emit)
					wait(ctx, 5*time.Second)
				}
				return nil
			}
		}},
		{"ends", "nobody cancelled", func(f *fake) {
			f.run = func(f *fake, _ context.Context, emit func(reading.Reading)) error { honest(f, emit); return nil }
		}},
		{"error on cancel", "want nil", func(f *fake) {
			f.run = func(f *fake, ctx context.Context, emit func(reading.Reading)) error {
				return errors.Join(f.poll(ctx, emit), ctx.Err())
			}
		}},
		{"slow to stop", "after cancel, want 1s", func(f *fake) {
			f.run = func(f *fake, ctx context.Context, emit func(reading.Reading)) error {
				err := f.poll(ctx, emit)
				time.Sleep(1100 * time.Millisecond)
				return err
			}
		}},
		{"late emit", "after Run returned", func(f *fake) {
			f.run = func(f *fake, ctx context.Context, emit func(reading.Reading)) error {
				time.AfterFunc(125*time.Second, func() { honest(f, emit) })
				return f.poll(ctx, emit)
			}
		}},
		{"goroutine left", "a goroutine is left", func(f *fake) {
			f.run = func(f *fake, ctx context.Context, emit func(reading.Reading)) error {
				go time.Sleep(time.Hour)
				return f.poll(ctx, emit)
			}
		}},
		{"never stops", "Run goes on after cancel", func(f *fake) {
			f.run = func(*fake, context.Context, func(reading.Reading)) error { time.Sleep(time.Hour); return nil }
		}},
		{"silent altogether", "no reading in", func(f *fake) { f.round = func(*fake, func(reading.Reading)) {} }},
	}
	for _, b := range breaches {
		t.Run(b.name, func(t *testing.T) {
			c := caseOf(b.bend)
			c.For = 2 * time.Minute
			var faults []string
			for _, part := range parts {
				synctest.Test(t, func(t *testing.T) {
					faults = append(faults, part.check(t, c)...)
					time.Sleep(2 * time.Hour) // the goroutines that bad sources leave end by then
				})
			}
			if all := strings.Join(faults, "\n"); !strings.Contains(all, b.want) {
				t.Errorf("the suite says\n%s\nwant %q", all, b.want)
			}
		})
	}
}

func TestAnEndIsAsked(t *testing.T) {
	c := caseOf(func(*fake) {})
	c.For, c.Ends = time.Minute, true
	synctest.Test(t, func(t *testing.T) {
		if faults := strings.Join(checkWatch(t, c), "\n"); !strings.Contains(faults, "should have ended by itself") {
			t.Errorf("the suite says %q", faults)
		}
	})
}
