package sensortest

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"weepd/rules/reading"
	"weepd/sensors"
)

// watch runs one source and keeps what it does.
type watch struct {
	c      Case
	source sensors.Source
	device Device
	points []reading.Point
	clock  sensors.Clock
	begun  time.Duration // on the clock
	before goleak.Option // the goroutines that were there first

	patience *sensors.Patience // nil: it is not asked
	asks     int               // in a row that were served
	handed   int               // readings up to the last of them
	askedAt  time.Duration

	ctx    context.Context
	cancel context.CancelFunc
	done   chan error

	mu       sync.Mutex
	inside   bool // a call of emit is going on
	over     bool // Run has returned
	got      []arrival
	problems []string
	seen     map[string]bool
}

type arrival struct {
	at time.Duration // on the clock
	r  reading.Reading
}

func prepare(t testing.TB, c Case) *watch {
	t.Helper()
	// A steady clock near a Unix time, as the agent's.
	begun := time.Now()
	clock := func() time.Duration { return time.Duration(begun.UnixNano()) + time.Since(begun) }
	w := &watch{c: c, clock: clock, before: goleak.IgnoreCurrent(), seen: make(map[string]bool), done: make(chan error, 1)}
	w.source, w.device = c.New(t, clock)
	w.ctx, w.cancel = context.WithCancel(context.Background())
	w.points, w.begun = w.source.Points(), clock()
	w.checkNames()
	if patient, can := w.source.(sensors.Patient); can && c.asked {
		w.patience = sensors.NewPatience(true)
		patient.Heed(w.patience)
	}
	return w
}

func start(t testing.TB, c Case) *watch {
	t.Helper()
	w := prepare(t, c)
	w.run()
	return w
}

func (w *watch) run() {
	go func() { w.done <- w.runSource() }()
	if w.patience != nil {
		go w.ask()
	}
}

func (w *watch) runSource() error {
	err := w.source.Run(w.ctx, w.emit)
	w.mu.Lock()
	w.over = true
	w.mu.Unlock()
	if w.patience != nil {
		w.patience.Leave()
	}
	return err
}

func (w *watch) now() time.Duration { return w.clock() }

func (w *watch) fault(format string, args ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.faultLocked(format, args...)
}

// faultLocked keeps the first fault of each sort: the rest is noise.
func (w *watch) faultLocked(format string, args ...any) {
	if !w.seen[format] {
		w.seen[format] = true
		w.problems = append(w.problems, fmt.Sprintf(format, args...))
	}
}

func (w *watch) faults() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.problems
}

func (w *watch) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.got)
}

func (w *watch) returned() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.over
}

// emit takes a reading and checks what can be checked at once.
func (w *watch) emit(r reading.Reading) {
	points := w.source.Points()
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.inside {
		w.faultLocked("emit is called from two goroutines at a time")
	}
	w.inside = true
	w.mu.Unlock()
	runtime.Gosched() // let another goroutine of a bad source come in between
	w.mu.Lock()
	w.inside = false
	if w.over {
		w.faultLocked("%v is emitted after Run returned", r)
	}
	if !slices.Equal(points, w.points) {
		w.faultLocked("Points changed during Run from %v to %v", w.points, points)
	}
	if !slices.Contains(w.points, r.Point) {
		w.faultLocked("%v is of a point that Points does not name", r)
	}
	if n := len(w.got); n > 0 && r.At < w.got[n-1].r.At {
		w.faultLocked("At goes back by %s at %v", w.got[n-1].r.At-r.At, r)
	}
	if !w.c.Ahead && r.At > w.clock() {
		w.faultLocked("%v is %s in the future", r, r.At-w.clock())
	}
	if problem := badValue(r); problem != "" {
		w.faultLocked("%v: %s", r, problem)
	}
	w.got = append(w.got, arrival{w.clock(), r})
}

func badValue(r reading.Reading) string {
	if !r.Quality.OK() {
		return ""
	}
	switch v := r.Value; {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "a value that may be used must be a number"
	case r.Point.Kind == reading.Drip && (v < 0 || v != math.Trunc(v)):
		return "drops are counted in whole numbers from 0"
	case r.Point.Kind == reading.Run && v != 0 && v != 1:
		return "the shaft turns (1) or rests (0)"
	}
	return ""
}

func (w *watch) checkNames() {
	if len(w.points) == 0 {
		w.fault("Points is empty")
	}
	for i, p := range w.points {
		if _, err := reading.ParsePoint(p.String()); err != nil {
			w.fault("Points: %v", err)
		}
		if slices.Contains(w.points[:i], p) {
			w.fault("Points names %s twice", p)
		}
	}
	if s := w.source.String(); strings.TrimSpace(s) == "" || strings.ContainsAny(s, "\r\n") {
		w.fault("String is %q, want one line that names the device", s)
	}
}

// cancelAndWait ends the run within the contract's bound.
func (w *watch) cancelAndWait() {
	asked := w.now()
	w.cancel()
	select {
	case err := <-w.done:
		if err != nil {
			w.fault("Run returned %v, want nil", err)
		}
	case <-time.After(time.Minute):
		w.fault("Run goes on after cancel")
		return
	}
	if took := w.now() - asked; took > stopWithin {
		w.fault("Run returned %s after cancel, want %s at most", took, stopWithin)
	}
	w.done <- nil // for a second stop
}

// stop ends the run and checks what it leaves behind.
func (w *watch) stop() {
	w.cancelAndWait()
	time.Sleep(3 * sensors.WatchEvery) // late emits would come now
	if after := w.source.Points(); !slices.Equal(after, w.points) {
		w.fault("Points changed after Run from %v to %v", w.points, after)
	}
	if err := goleak.Find(w.before); err != nil {
		w.fault("a goroutine is left after Run: %v", err)
	}
}
