package onewire

import (
	"context"
	"errors"
	"math"
	"os"
	"time"

	"periph.io/x/conn/v3/onewire"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source reads the thermometers of one bus.
type Source struct {
	cfg   Config
	link  link
	clock sensors.Clock
	*sensors.Notebook

	// Of the goroutine that talks to the bus.
	marks map[onewire.Address][3]byte
	last  map[onewire.Address]float64
}

// New reads a bus that the caller has. Use Open for the kernel's.
func New(cfg Config, bus onewire.Bus, clock sensors.Clock) (*Source, error) {
	return newSource(cfg, func() (onewire.Bus, error) { return kept{bus}, nil }, clock)
}

// kept is a bus that is the caller's to close.
type kept struct{ onewire.Bus }

func newSource(cfg Config, dial dial, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(); err != nil {
		return nil, err
	}
	s := &Source{
		cfg: cfg, link: newLink(dial), clock: clock,
		marks: make(map[onewire.Address][3]byte), last: make(map[onewire.Address]float64),
	}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points are those of the sensors, in the configured order.
func (s *Source) Points() []reading.Point {
	points := make([]reading.Point, len(s.cfg.Sensors))
	for i, sensor := range s.cfg.Sensors {
		points[i] = sensor.Point
	}
	return points
}

// String names the bus.
func (s *Source) String() string { return "1-wire bus " + s.cfg.Bus }

// Run reads all sensors at once and then every cfg.Every until ctx ends. It
// never fails: what can be wrong is a quality, see the package's documentation.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	defer s.link.Close()
	sensors.Poll(ctx, s.clock, s.cfg.Every, s.cfg.Timeout,
		func() ([]sensors.Finding, error) {
			found := s.measure(ctx)
			if ctx.Err() != nil {
				s.link.Close() // it came back late
			}
			return found, nil
		},
		func(found []sensors.Finding, err error) {
			at := s.clock()
			for i, sensor := range s.cfg.Sensors {
				f := bad(reading.NoAnswer, "", "no answer within "+s.cfg.Timeout.String()+": the bus hangs")
				if !errors.Is(err, os.ErrDeadlineExceeded) {
					f = found[i]
				}
				emit(s.Enter(at, sensor.Point, f))
			}
		})
	return nil
}

// conversion at 12 bits takes at most 750 ms (data sheet, thermometer
// resolution configuration).
const conversion = 760 * time.Millisecond

// measure lets all sensors convert at the same time, then reads one by one.
func (s *Source) measure(ctx context.Context) []sensors.Finding {
	found := make([]sensors.Finding, len(s.cfg.Sensors))
	for i, sensor := range s.cfg.Sensors {
		found[i] = s.prepare(sensor.Address)
	}
	if err := s.link.transfer([]byte{skipROM, convert}, nil, onewire.StrongPullup); err != nil {
		for i := range found {
			found[i] = failed(err)
		}
		return found
	}
	sensors.Pause(ctx, conversion)
	for i, sensor := range s.cfg.Sensors {
		if found[i].Quality.OK() {
			found[i] = s.read(sensor.Address)
		}
	}
	return found
}

// prepare marks a sensor that is not marked, so that a loss of power shows.
func (s *Source) prepare(a onewire.Address) sensors.Finding {
	if _, marked := s.marks[a]; marked {
		return sensors.Finding{}
	}
	if err := s.link.transfer(to(a, recallEEPROM), nil, onewire.WeakPullup); err != nil {
		return failed(err)
	}
	pad, f := s.scratchpad(a)
	if !f.Quality.OK() {
		return f
	}
	mark := pad.mark()
	if err := s.link.transfer(to(a, append([]byte{writeScratchpad}, mark[:]...)...), nil, onewire.WeakPullup); err != nil {
		return failed(err)
	}
	s.marks[a] = mark
	return sensors.Finding{}
}

func (s *Source) read(a onewire.Address) sensors.Finding {
	pad, f := s.scratchpad(a)
	if f.Quality.OK() {
		last, known := s.last[a]
		if !known {
			last = math.NaN()
		}
		f = decode(pad, s.marks[a], last)
	}
	if f.Quality.OK() {
		s.last[a] = f.Value
	} else {
		delete(s.marks, a) // it may be new, or without power meanwhile
		delete(s.last, a)
	}
	return f
}

func (s *Source) scratchpad(a onewire.Address) (pad scratchpad, f sensors.Finding) {
	if err := s.link.transfer(to(a, readScratchpad), pad[:], onewire.WeakPullup); err != nil {
		return pad, failed(err)
	}
	return pad, pad.unreadable()
}

// failed tells by the bus's own errors what is wrong with it.
func failed(err error) sensors.Finding {
	var none onewire.NoDevicesError
	var short onewire.ShortedBusError
	switch {
	case errors.As(err, &short) && short.IsShorted():
		return bad(reading.ShortCircuit, "", "the data line touches ground")
	case errors.As(err, &none) && none.NoDevices():
		return bad(reading.NoAnswer, "", "no sensor on the bus answers; check wiring and pull-up")
	}
	return bad(reading.NoAnswer, "", err.Error())
}
