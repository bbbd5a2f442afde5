package modbus

import (
	"fmt"
	"log/slog"
	"math"
	"net"
	"slices"
	"strings"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Config is one connection and what is read over it.
type Config struct {
	URL string // tcp://host:port, or rtu:///dev/ttyUSB0

	// Of a serial line: 8 data bits; 0 or "" mean 19,200 bit/s, even parity and
	// one stop bit (two without parity), the defaults of Modbus over Serial Line
	// V1.02, section 2.5.1, from memory.
	Baud     int
	Parity   string // even, odd or none
	StopBits int

	Registers []Register

	Every   time.Duration // from one poll of a unit to the next, 100 ms to 30 s, with drops 3 s at most; 0 means 1 s
	Timeout time.Duration // for one request, 10 ms to 3 s; 0 means 1 s (TCP), 300 ms (RTU)
	MaxGap  int           // registers or bits read along to save a request; 0 means 8, -1 none
	Log     *slog.Logger  // nil is silent
}

// Register is a place in a device, and the point it stands for.
type Register struct {
	Point   reading.Point
	Unit    uint8 // address of the device on its line, 1 to 247; with TCP often 1 or 255
	Table   Table
	Address uint16 // from 0, as on the wire

	Number       Number // of registers
	LowWordFirst bool   // of numbers in two registers
	Scale        float64
	Offset       float64   // value = number * Scale + Offset; Scale 0 means 1
	FaultNumbers []float64 // numbers that the device gives when its sensor is broken, e.g. 32767

	Turning  *sensors.Turning // for a run point by a number
	Inverted bool             // run: 0 means turning
}

const (
	shortestEvery   = 100 * time.Millisecond
	longestEvery    = 30 * time.Second
	longestDrip     = 3 * time.Second // of a connection that counts drops
	defaultEvery    = time.Second
	shortestTimeout = 10 * time.Millisecond
	longestTimeout  = 3 * time.Second
	timeoutTCP      = time.Second
	timeoutRTU      = 300 * time.Millisecond
	defaultGap      = 8
	defaultBaud     = 19200
	lastUnit        = 247 // on a serial line (V1.02, section 2.2, from memory)
)

func (c Config) serial() bool { return strings.HasPrefix(c.URL, "rtu://") }

func (c Config) withDefaults() Config {
	if c.Every == 0 {
		c.Every = defaultEvery
	}
	if c.Timeout == 0 {
		c.Timeout = timeoutTCP
		if c.serial() {
			c.Timeout = timeoutRTU
		}
	}
	if c.MaxGap == 0 {
		c.MaxGap = defaultGap
	}
	c.MaxGap = max(c.MaxGap, 0)
	if c.serial() {
		c = c.withLine()
	}
	c.Registers = slices.Clone(c.Registers)
	for i, r := range c.Registers {
		if r.Scale == 0 {
			c.Registers[i].Scale = 1
		}
		if r.Turning != nil {
			own := *r.Turning // it keeps a state
			c.Registers[i].Turning = &own
		}
	}
	return c
}

func (c Config) withLine() Config {
	if c.Baud == 0 {
		c.Baud = defaultBaud
	}
	if c.Parity == "" {
		c.Parity = "even"
	}
	if c.StopBits == 0 {
		c.StopBits = 1
		if c.Parity == "none" {
			c.StopBits = 2
		}
	}
	return c
}

func (c Config) validate() error {
	if err := c.validateConnection(); err != nil {
		return fmt.Errorf("modbus %s: %w", c.URL, err)
	}
	if len(c.Registers) == 0 {
		return fmt.Errorf("modbus %s: no registers; give at least one", c.URL)
	}
	points := make(map[reading.Point]bool)
	for _, r := range c.Registers {
		if err := r.validate(); err != nil {
			return fmt.Errorf("modbus %s: %s: %w", c.URL, r.Point, err)
		}
		if c.serial() && (r.Unit < 1 || r.Unit > lastUnit) {
			return fmt.Errorf("modbus %s: %s: unit %d; want 1 to %d", c.URL, r.Point, r.Unit, lastUnit)
		}
		if r.Point.Kind == reading.Drip && c.Every > longestDrip {
			return fmt.Errorf("modbus %s: %s: every %s; want at most %s where drops are counted", c.URL, r.Point, c.Every, longestDrip)
		}
		if points[r.Point] {
			return fmt.Errorf("modbus %s: point %s appears twice", c.URL, r.Point)
		}
		points[r.Point] = true
	}
	return nil
}

func (c Config) validateConnection() error {
	if c.Every < shortestEvery || c.Every > longestEvery {
		return fmt.Errorf("every %s; want %s to %s", c.Every, shortestEvery, longestEvery)
	}
	if c.Timeout < shortestTimeout || c.Timeout > longestTimeout {
		return fmt.Errorf("timeout %s; want %s to %s", c.Timeout, shortestTimeout, longestTimeout)
	}
	if address, tcp := strings.CutPrefix(c.URL, "tcp://"); tcp {
		if host, port, err := net.SplitHostPort(address); err != nil || host == "" || port == "" {
			return fmt.Errorf("want tcp://host:port, port 502 as a rule")
		}
		return nil
	}
	if device, rtu := strings.CutPrefix(c.URL, "rtu://"); !rtu || !strings.HasPrefix(device, "/") {
		return fmt.Errorf("want tcp://host:port or rtu:///dev/ttyUSB0")
	}
	switch {
	case c.Baud < 300 || c.Baud > 921600:
		return fmt.Errorf("speed %d; want 300 to 921600 bit/s", c.Baud)
	case !slices.Contains([]string{"even", "odd", "none"}, c.Parity):
		return fmt.Errorf("parity %q; want even, odd or none", c.Parity)
	case c.StopBits != 1 && c.StopBits != 2:
		return fmt.Errorf("%d stop bits; want 1 or 2", c.StopBits)
	}
	return nil
}

func (r Register) validate() error {
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	drip, run := r.Point.Kind == reading.Drip, r.Point.Kind == reading.Run
	switch {
	case !reading.ValidGlandID(r.Point.Gland) || r.Point.Kind >= reading.Kinds:
		return fmt.Errorf("want drip, temp, ref or run of a gland")
	case r.Table >= tables || r.Number >= numbers:
		return fmt.Errorf("%s of %s; want a table and a number of this package", r.Number, r.Table)
	case int(r.Address)+r.size() > 1<<16:
		return fmt.Errorf("%s at %d reaches beyond the last address, 65535", r.Number, r.Address)
	case r.Table.bits() && (!run || r.Turning != nil):
		return fmt.Errorf("a bit (%s) gives run only, without a threshold; want a register", r.Table)
	case drip:
		return r.validateCounter()
	case !finite(r.Scale) || !finite(r.Offset):
		return fmt.Errorf("scale %g, offset %g; want finite numbers", r.Scale, r.Offset)
	case !run && (r.Turning != nil || r.Inverted):
		return fmt.Errorf("threshold and inversion are for run")
	case r.Turning != nil:
		return r.Turning.Validate()
	}
	return nil
}

func (r Register) validateCounter() error {
	switch {
	case r.Number != U16 && r.Number != U32:
		return fmt.Errorf("counter as %s; want u16 or u32", r.Number)
	case r.Scale != 1 || r.Offset != 0 || r.Turning != nil || r.Inverted || len(r.FaultNumbers) > 0:
		return fmt.Errorf("a counter is one count a drop; want no scale, offset, threshold, inversion or fault numbers")
	}
	return nil
}
