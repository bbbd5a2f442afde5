// Package speed tells whether a shaft turns from the pulses of a speed sensor: an
// inductive switch at a key or a toothed wheel, say.
//
// # Wiring
//
// The sensor's pulses go to whatever counts them: a pin with the kernel's edge
// events, a counter node of the kernel, a counting module. This package is given
// a function that says how many there were so far.
//
// # Units and range
//
// Readings are 1 for turning and 0 for rest. With one pulse a turn, AtLeast 2 in
// a Window of 2 s is 60 turns a minute: less counts as rest. Choose Window so
// that the slowest real speed gives several times AtLeast.
//
// # Faults
//
// A counter that cannot be read is no-answer, one that went back (it was set anew
// or its device restarted) is lost for one window. A sensor that is broken gives
// no pulses, which is rest: rest silences the alarm for a gland that runs dry, so
// prefer a contact of the motor's starter or its current where there is one.
package speed

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says what counts as turning.
type Config struct {
	Name    string        // of the counter, for logs
	AtLeast uint64        // pulses in a Window; 0 means 2
	Window  time.Duration // 500 ms to 10 s; 0 means 2 s
	Bits    uint          // of the counter, where it wraps around: 1 to 64; 0 means 64
	Log     *slog.Logger  // nil is silent
}

const (
	shortestWindow = 500 * time.Millisecond
	longestWindow  = sensors.WatchEvery
	defaultWindow  = 2 * time.Second
	defaultAtLeast = 2

	// mostPerSecond bounds what a rise may be, to tell a counter that wrapped
	// around from one that was set anew: 60 teeth at 6,000 turns a minute.
	mostPerSecond = 6000
)

func (c Config) withDefaults() Config {
	if c.AtLeast == 0 {
		c.AtLeast = defaultAtLeast
	}
	if c.Window == 0 {
		c.Window = defaultWindow
	}
	if c.Bits == 0 {
		c.Bits = 64
	}
	return c
}

func (c Config) validate(gland string) error {
	switch {
	case strings.TrimSpace(c.Name) == "":
		return errors.New("speed pulses: no name; say which counter it is")
	case !reading.ValidGlandID(gland):
		return fmt.Errorf("speed pulses %s: gland id %q; want 1 to %d of A-Z a-z 0-9 _ -", c.Name, gland, reading.MaxGlandID)
	case c.Window < shortestWindow || c.Window > longestWindow:
		return fmt.Errorf("speed pulses %s: window %s; want %s to %s", c.Name, c.Window, shortestWindow, longestWindow)
	case c.Bits > 64:
		return fmt.Errorf("speed pulses %s: counter of %d bits; want 1 to 64", c.Name, c.Bits)
	case c.Bits < 63 && c.most(c.Window) >= 1<<(c.Bits-1):
		return fmt.Errorf("speed pulses %s: %d bits wrap around too soon for a window of %s; want a shorter window", c.Name, c.Bits, c.Window)
	case float64(c.AtLeast) > mostPerSecond*c.Window.Seconds():
		return fmt.Errorf("speed pulses %s: at least %d pulses in %s; want at most %d a second", c.Name, c.AtLeast, c.Window, mostPerSecond)
	}
	return nil
}

// most is how far the counter can have risen in a time.
func (c Config) most(d time.Duration) uint64 { return uint64(d.Seconds()*mostPerSecond) + 1 }

// Source tells turning from rest.
type Source struct {
	cfg    Config
	point  reading.Point
	pulses func(context.Context) (uint64, error)
	clock  sensors.Clock
	*sensors.Notebook
}

// New reads a counter by pulses, which gives the pulses so far and may hang.
func New(cfg Config, gland string, pulses func(context.Context) (uint64, error), clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(gland); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, point: reading.Point{Gland: gland, Kind: reading.Run}, pulses: pulses, clock: clock}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points is the gland's run point.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the counter.
func (s *Source) String() string { return "speed pulses " + s.cfg.Name }

// Run looks at the counter once a window until ctx ends. It never fails.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	w := watch{cfg: s.cfg}
	sensors.Poll(ctx, s.clock, s.cfg.Window, s.cfg.Window,
		func() (uint64, error) { return s.pulses(ctx) },
		func(total uint64, err error) {
			at := s.clock()
			f, ok := w.take(at, total, err)
			if ok {
				emit(s.Enter(at, s.point, f))
			}
		})
	return nil
}

// watch compares the counter with what it was a window ago.
type watch struct {
	cfg    Config
	known  bool
	before uint64
	at     time.Duration
}

// take gives what a look at the counter shows; ok is false for the first look,
// which shows nothing yet.
func (w *watch) take(at time.Duration, total uint64, err error) (f sensors.Finding, ok bool) {
	if err != nil {
		w.known = false
		cause := err.Error()
		if errors.Is(err, os.ErrDeadlineExceeded) {
			cause = "no answer within " + w.cfg.Window.String() + ": the counter hangs"
		}
		return sensors.Finding{Quality: reading.NoAnswer, Cause: cause}, true
	}
	known, before, passed := w.known, w.before, at-w.at
	w.known, w.before, w.at = true, total, at
	if !known || passed <= 0 {
		return f, false
	}
	f.Raw = fmt.Sprintf("count %d", total)
	n, became := sensors.RiseOf(before, total, w.cfg.Bits, w.cfg.most(passed))
	if became != sensors.Rose {
		f.Quality, f.Cause = reading.Lost, "the counter went back or leapt: it was set anew, or counts interference"
		return f, true
	}
	f.Raw = fmt.Sprintf("%d pulses in %s", n, passed)
	// The window may have been a little longer or shorter.
	if float64(n)*w.cfg.Window.Seconds() >= (float64(w.cfg.AtLeast)-0.5)*passed.Seconds() {
		f.Value = 1
	}
	return f, true
}
