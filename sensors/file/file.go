// Package file reads a number from a file now and then: a temperature that the
// kernel offers through hwmon, iio or w1 (all in m°C, so Scale 0.001), or
// anything that another program writes.
package file

import (
	"context"
	"fmt"
	"math"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says which file is read how.
type Config struct {
	Path string

	// Value = number in the file * Scale + Offset, in the unit of the point:
	// °C for temp and ref, 1 or 0 for run. Scale 0 means 1.
	Scale, Offset float64

	// Every is the time from one reading to the next, 100 ms to 1 min (a
	// longer silence would count as a gap); 0 means 10 s.
	Every time.Duration

	// Timeout is how long an answer may take, up to Every; 0 means 2 s, or
	// Every if that is less. A DS18B20 converts for up to 750 ms (its data
	// sheet, from memory).
	Timeout time.Duration
}

const (
	shortestEvery  = 100 * time.Millisecond
	longestEvery   = time.Minute
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second

	absoluteZeroC = -273.15
)

func (c Config) withDefaults() Config {
	if c.Scale == 0 {
		c.Scale = 1
	}
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = min(defaultTimeout, c.Every)
	}
	return c
}

func (c Config) validate(p reading.Point) error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	switch {
	case c.Path == "":
		return fmt.Errorf("file source of %s: no path; give the file to read", p)
	case p.Kind != reading.Temp && p.Kind != reading.Ref && p.Kind != reading.Run:
		return fmt.Errorf("file source of %s: a file gives temp, ref or run; count drops with gpio", p)
	case !finite(c.Scale) || !finite(c.Offset):
		return fmt.Errorf("file %s: scale %g, offset %g; want finite numbers", c.Path, c.Scale, c.Offset)
	case c.Every < shortestEvery || c.Every > longestEvery:
		return fmt.Errorf("file %s: every %s; want %s to %s", c.Path, c.Every, shortestEvery, longestEvery)
	case c.Timeout <= 0 || c.Timeout > c.Every:
		return fmt.Errorf("file %s: timeout %s; want more than 0 and at most every (%s)", c.Path, c.Timeout, c.Every)
	}
	return nil
}

// Source reads one file for one point.
type Source struct {
	cfg   Config
	point reading.Point
	clock sensors.Clock
	read  func(path string) ([]byte, error)
}

// New checks cfg; the file itself may come and go later.
func New(cfg Config, point reading.Point, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(point); err != nil {
		return nil, err
	}
	return &Source{cfg: cfg, point: point, clock: clock, read: readShort}, nil
}

// Points is the one point that the file stands for.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the file.
func (s *Source) String() string { return "file " + s.cfg.Path }

// Run reads the file at once and then every cfg.Every. What a reading's
// quality says:
//
//   - NoAnswer: no such file or device, an input error, or no answer in time
//   - Garbled: empty (w1 gives that after a bad checksum), text, too long
//   - Fault: NaN or an infinity in the file, no permission, a directory
//   - OutOfRange: below absolute zero; for run neither 0 nor 1
//
// A read that hangs in the kernel cannot be ended from outside. It has a
// goroutine of its own, at most one per Source, which outlives Run only while
// the kernel holds it and then ends by itself.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	r := startReader(s.read, s.cfg.Path)
	defer r.stop()
	tick := time.NewTicker(s.cfg.Every)
	defer tick.Stop()
	for {
		a, ok := r.ask(ctx, s.cfg.Timeout)
		if !ok {
			return nil
		}
		emit(s.reading(a))
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (s *Source) reading(a answer) reading.Reading {
	r := reading.Reading{At: s.clock(), Point: s.point}
	raw, q := interpret(a)
	v := raw*s.cfg.Scale + s.cfg.Offset
	switch {
	case q != reading.Good:
		r.Quality = q
	case s.point.Kind == reading.Run && v != 0 && v != 1, v < absoluteZeroC, math.IsInf(v, 0):
		r.Quality = reading.OutOfRange
	default:
		r.Value = v
	}
	return r
}
