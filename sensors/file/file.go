// Package file reads a number from a file now and then: a temperature that the
// kernel offers through hwmon, iio, w1 or thermal, or anything that another
// program writes.
//
// # Wiring
//
// As the sensor's driver says, e.g. a DS18B20 on the line of w1-gpio with a
// pull-up of 4.7 kΩ (its data sheet, from memory), or a temperature sensor on
// I2C whose address is in the device tree.
//
// # Nodes of the kernel
//
// What they mean is found by their names (see nodes), so that Path is all that
// is needed:
//
//   - hwmon temp1_input (and temp1_fault), w1 temperature, thermal temp: m°C
//   - w1 w1_slave: m°C, its checksum looked at, the value after a loss of power
//     refused
//   - iio in_temp_raw, with in_temp_offset and in_temp_scale; in_temp_input
//
// A pattern that fits one file, such as
// /sys/bus/i2c/devices/1-0048/hwmon/hwmon*/temp1_input, holds however hwmon and
// iio number their folders at the next start.
//
// # Readings
//
// Temp and ref in °C, down to absolute zero; run 0 or 1. Bad ones:
//
//   - NoAnswer: no such file or device, an input error, or no answer in time
//   - Garbled: empty (w1 gives that after a bad checksum), text, too long, a
//     wrong checksum
//   - Fault: the driver's fault file says so, NaN or an infinity, no
//     permission, a folder, several files that fit a pattern
//   - OutOfRange: below absolute zero; for run neither 0 nor 1
package file

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"strconv"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config says which file is read how.
type Config struct {
	Path string // or a pattern as of path/filepath that fits one file

	// Value = number in the file * Scale + Offset, in the unit of the point:
	// °C for temp and ref, 1 or 0 for run. Scale 0 takes what the kernel says
	// of its nodes (1 for other files); Offset then corrects the result.
	Scale, Offset float64

	// Every is the time from one reading to the next, 100 ms to 1 min (a
	// longer silence would count as a gap); 0 means 10 s.
	Every time.Duration

	// Timeout is how long an answer may take, up to Every; 0 means 2 s, or
	// Every if that is less. A DS18B20 converts for up to 750 ms (its data
	// sheet, from memory).
	Timeout time.Duration

	Log *slog.Logger // nil is silent
}

const (
	shortestEvery  = 100 * time.Millisecond
	longestEvery   = time.Minute
	defaultEvery   = 10 * time.Second
	defaultTimeout = 2 * time.Second

	absoluteZeroC = -273.15
)

func (c Config) withDefaults() Config {
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
	if n, known := nodeOf(c.Path); c.refuses(n, known, p) {
		return fmt.Errorf("file %s: this %s node is no temperature; give scale and offset that make it °C", c.Path, n.sort)
	}
	return nil
}

// refuses reports whether the node would be taken for °C that it does not give.
func (c Config) refuses(n node, known bool, p reading.Point) bool {
	return known && n.unitC == 0 && c.Scale == 0 && celsius(p.Kind)
}

// Source reads one file for one point.
type Source struct {
	cfg   Config
	point reading.Point
	clock sensors.Clock
	read  func() (measured, error)
	found struct { // the file that was read last, and what its name means; read's own
		path  string
		node  node
		known bool
	}
	*sensors.Notebook
}

// measured is what a file says: the number as it stands there, and its value.
type measured struct {
	number, value float64
}

// New checks cfg; the file itself may come and go later.
func New(cfg Config, point reading.Point, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(point); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, point: point, clock: clock}
	s.read = s.value
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points is the one point that the file stands for.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the file.
func (s *Source) String() string { return "file " + s.cfg.Path }

// Run reads the file at once and then every cfg.Every until ctx ends. It never
// fails: what is wrong is the quality of a reading.
//
// A read that hangs in the kernel cannot be ended from outside. It has a
// goroutine of its own, at most one per Source, which outlives Run only while
// the kernel holds it and then ends by itself.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	file := sensors.StartBounded(func() (measured, error) { return s.read() })
	defer file.Stop()
	grid := sensors.NewGrid(s.clock, s.cfg.Every)
	defer grid.Stop()
	for {
		m, err := file.Ask(ctx, s.cfg.Timeout)
		if ctx.Err() != nil {
			return nil
		}
		emit(s.Enter(s.clock(), s.point, s.finding(m, err)))
		if !grid.Wait(ctx) {
			return nil
		}
	}
}

// value reads the file and converts its number.
func (s *Source) value() (measured, error) {
	path, err := resolve(s.cfg.Path)
	if err != nil {
		return measured{}, err
	}
	n, known := s.nodeOf(path)
	if s.cfg.refuses(n, known, s.point) {
		return measured{}, fmt.Errorf("%s: %w: no temperature", path, errNumber)
	}
	if s.cfg.Scale != 0 {
		n.offsets, n.scales = nil, nil
	}
	a, err := readNode(path, n)
	if err != nil {
		return measured{}, err
	}
	unit := 1.0
	switch {
	case s.cfg.Scale != 0:
		unit = s.cfg.Scale
	case known && celsius(s.point.Kind):
		unit = n.unitC
	}
	return measured{a.number, (a.number+a.offset)*a.scale*unit + s.cfg.Offset}, nil
}

// nodeOf asks only when the file is another one than before.
func (s *Source) nodeOf(path string) (node, bool) {
	if s.found.path != path {
		s.found.path = path
		s.found.node, s.found.known = nodeOf(path)
	}
	return s.found.node, s.found.known
}

func (s *Source) finding(m measured, err error) sensors.Finding {
	if err != nil {
		f := sensors.Finding{Quality: qualityOf(err), Cause: err.Error()}
		if errors.Is(err, os.ErrDeadlineExceeded) {
			f.Cause = "no answer within " + s.cfg.Timeout.String() + ": the file hangs"
		}
		return f
	}
	f := sensors.Finding{Value: m.value, Raw: strconv.FormatFloat(m.number, 'g', -1, 64)}
	switch {
	case math.IsNaN(m.value) || math.IsInf(m.value, 0):
		f.Quality, f.Cause = reading.OutOfRange, "too large; check scale and offset"
	case s.point.Kind == reading.Run && m.value != 0 && m.value != 1:
		f.Quality, f.Cause = reading.OutOfRange, "neither 0 nor 1; check scale and offset"
	case celsius(s.point.Kind) && m.value < absoluteZeroC:
		f.Quality, f.Cause = reading.OutOfRange, "below absolute zero; check scale and offset"
	}
	return f
}
