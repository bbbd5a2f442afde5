// Package counter counts drops by a counter that something else keeps: the
// kernel's counter nodes, or any file that holds a rising number.
//
// # Wiring
//
// As for a drop sensor on a GPIO line (see package gpio), on the input of a
// counter: of a timer or encoder block of the processor, or any line with an
// interrupt (the kernel's interrupt-cnt). Counting goes on while the agent is
// stopped or busy; the time of a single drop is known only to Every.
//
// # Node
//
// Path is the file with the number, such as
// /sys/bus/counter/devices/counter0/count0/count, or a folder that has a file
// `count` (Documentation/ABI/testing/sysfs-bus-counter: "Count data of Count Y
// represented as a string"). The node must count up, and be enabled (its file
// `enable`).
//
// # Readings
//
// Drip: the drops since the last reading, every Every. Bad ones:
//
//   - Lost: the counter was set anew (its device restarted), or was not to be
//     read for over 20 s; Value says how many drops came meanwhile if that is
//     known. Counting goes on from there.
//   - Storm: it rose by more than 500 a second, more than any water makes.
//   - NoAnswer: no such file or device, an input error, no answer in time.
//   - Garbled: empty, or no whole number from 0.
//   - Fault: no permission, or a folder.
package counter

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says which counter is read how.
type Config struct {
	Path string

	// Bits is how wide the counter is: 16, 32 or 64. At the end it starts
	// again at 0. 0 means 64, so that going back always means set anew.
	Bits uint

	// Every is the time from one reading to the next, 100 ms to 9 s; 0 means
	// 1 s.
	Every time.Duration

	// Timeout is how long an answer may take, up to Every; 0 means Every.
	Timeout time.Duration

	Log *slog.Logger // nil is silent
}

const (
	shortestEvery = 100 * time.Millisecond
	longestEvery  = sensors.WatchEvery - time.Second // leaves one for a busy machine
	defaultEvery  = time.Second
	widest        = 64
)

func (c Config) withDefaults() Config {
	if c.Bits == 0 {
		c.Bits = widest
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = c.Every
	}
	return c
}

func (c Config) validate(gland string) error {
	switch {
	case c.Path == "":
		return fmt.Errorf("counter of gland %s: no path; give the file with the count", gland)
	case c.Bits != 16 && c.Bits != 32 && c.Bits != widest:
		return fmt.Errorf("counter %s: %d bits; want 16, 32 or 64", c.Path, c.Bits)
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("counter %s: every %s; want %s to %s", c.Path, c.Every, shortestEvery, longestEvery)
	case c.Timeout <= 0 || c.Timeout > c.Every:
		return fmt.Errorf("counter %s: timeout %s; want more than 0 and at most every (%s)", c.Path, c.Timeout, c.Every)
	case !reading.ValidGlandID(gland):
		return fmt.Errorf("counter %s: gland id %q; want 1 to %d of A-Z a-z 0-9 _ -", c.Path, gland, reading.MaxGlandID)
	}
	return nil
}

// Source reads one counter for one gland.
type Source struct {
	cfg   Config
	point reading.Point
	clock sensors.Clock
	read  func(path string) (uint64, error)
	*sensors.Notebook
}

// New checks cfg; the file itself may come and go later.
func New(cfg Config, gland string, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(gland); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, point: reading.Point{Gland: gland, Kind: reading.Drip}, clock: clock, read: readCount}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points is the gland's drip point.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the file.
func (s *Source) String() string { return "counter " + s.cfg.Path }

// Heed lets readings lie where they were emitted; the counter is read at its own pace
// all the same.
func (s *Source) Heed(*sensors.Patience) {}

// Run reads the counter at once, which gives 0, and then every cfg.Every until
// ctx ends. It never fails: what is wrong is the quality of a reading. A read
// that hangs in the kernel outlives Run as long as the kernel holds it.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	file := sensors.StartBounded(func() (uint64, error) { return s.read(s.cfg.Path) })
	defer file.Stop()
	grid := sensors.NewGrid(s.clock, s.cfg.Every)
	defer grid.Stop()
	t := tally{bits: s.cfg.Bits}
	for {
		count, err := file.Ask(ctx, s.cfg.Timeout)
		if ctx.Err() != nil {
			return nil
		}
		r := reading.Reading{At: s.clock(), Point: s.point}
		f := sensors.Finding{Raw: fmt.Sprintf("count %d", count)}
		if err != nil {
			r.Quality = qualityOf(err)
			f.Raw, f.Cause = "", s.why(err)
		} else {
			before := t.count
			r.Value, r.Quality = t.take(r.At, count)
			f.Cause = causeOf(r.Quality, before)
		}
		f.Value, f.Quality = r.Value, r.Quality
		s.Enter(r.At, r.Point, f)
		emit(r) // with the number of lost drops, if that is known
		if !grid.Wait(ctx) {
			return nil
		}
	}
}

func (s *Source) why(err error) string {
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return "no answer within " + s.cfg.Timeout.String() + ": the file hangs"
	}
	return err.Error()
}

// causeOf says what a bad count means, after the one before.
func causeOf(q reading.Quality, before uint64) string {
	switch q {
	case reading.Lost:
		return fmt.Sprintf("the counter went back from %d (it was set anew, or its device restarted), or was not read for too long", before)
	case reading.Storm:
		return fmt.Sprintf("the counter leapt from %d: faster than drops can fall; bounce or interference", before)
	default:
		return ""
	}
}

// tally turns counts into drops.
type tally struct {
	bits  uint
	known bool
	count uint64
	at    time.Duration
}

// mostPerSecond is more than water makes: single drops come at most some 24 a
// second (Clanet & Lasheras 1999; computed for 2 to 6 mm), and a jet breaks up
// into v/(4.51 d) of them, 222 a second at 1 mm and 1 m/s (Rayleigh 1878; both
// from memory): that is gushing, not a fault.
const mostPerSecond = 500

// take gives the drops since the last count. A rise over a longer time than a
// live source may be silent is a number of drops whose times nobody knows.
func (t *tally) take(at time.Duration, count uint64) (drops float64, q reading.Quality) {
	before := *t
	t.known, t.count, t.at = true, count, at
	if !before.known {
		return 0, reading.Good
	}
	elapsed := at - before.at
	most := uint64(math.Ceil(elapsed.Seconds() * mostPerSecond))
	rise, what := sensors.RiseOf(before.count, count, t.bits, most)
	switch {
	case what == sensors.WasSet:
		return 0, reading.Lost
	case what == sensors.TooFast:
		return 0, reading.Storm
	case elapsed > 2*sensors.WatchEvery:
		return float64(rise), reading.Lost
	}
	return float64(rise), reading.Good
}
