package rtd

import (
	"context"
	"errors"
	"io"
	"os"
	"time"

	"periph.io/x/conn/v3/spi"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source reads one converter for one point.
type Source struct {
	cfg   Config
	setup setup
	point reading.Point
	link  link
	clock sensors.Clock
	*sensors.Notebook
}

// New reads a chip to which the caller has a connection: SPI mode 1 or 3 (p.
// 15), at most 5 MHz (p. 5, from memory), 8 bits. Use Open to find it by the
// bus's name.
func New(cfg Config, point reading.Point, conn spi.Conn, clock sensors.Clock) (*Source, error) {
	return newSource(cfg, point, func() (spi.Conn, io.Closer, error) { return conn, nil, nil }, clock)
}

func newSource(cfg Config, point reading.Point, dial dial, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(point); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, setup: cfg.setup(), point: point, link: newLink(dial), clock: clock}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points is the one point that the sensor stands for.
func (s *Source) Points() []reading.Point { return []reading.Point{s.point} }

// String names the chip.
func (s *Source) String() string { return "rtd SPI" + s.cfg.Bus }

// Run reads at once and then every cfg.Every until ctx ends. It never fails:
// what can be wrong is a quality, see the package's documentation.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	defer s.link.Close()
	sensors.Poll(ctx, s.clock, s.cfg.Every, s.cfg.Timeout,
		func() ([registers]byte, error) {
			r, err := s.measure(ctx)
			if ctx.Err() != nil {
				s.link.Close() // it came back late
			}
			return r, err
		},
		func(r [registers]byte, err error) { emit(s.Enter(s.clock(), s.point, s.finding(r, err))) })
	return nil
}

func (s *Source) finding(r [registers]byte, err error) sensors.Finding {
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return bad(reading.NoAnswer, "", "no answer within "+s.cfg.Timeout.String()+": the bus hangs")
	case err != nil:
		return bad(reading.NoAnswer, "", err.Error())
	}
	return s.setup.decode(r)
}

// How long the chip takes.
const (
	// settle is 10.5 time constants of the input filter and 1 ms (p. 12 and
	// 13); 100 nF and 430 Ω make 0.5 ms of the former, 10 ms serves any board.
	settle = 10 * time.Millisecond
	// detection: two delays of 100 µs and the checks (p. 13).
	detection = 2 * time.Millisecond
	// conversion: 62.5 ms with the 50 Hz filter, 66 ms at most (p. 4, from
	// memory), 52 ms with that of 60 Hz.
	conversion = 75 * time.Millisecond
)

// measure sets the chip up, looks for faults, converts once and switches the
// current through the sensor off again, which would warm it.
func (s *Source) measure(ctx context.Context) (r [registers]byte, err error) {
	on := s.setup.config | biasOn
	steps := []struct {
		write []byte
		wait  time.Duration
	}{
		{[]byte{writeThresholds, byte(s.setup.high >> 8), byte(s.setup.high), byte(s.setup.low >> 8), byte(s.setup.low)}, 0},
		{[]byte{writeConfig, on | clearFaults}, settle},
		{[]byte{writeConfig, on | detectFault}, detection},
		{[]byte{writeConfig, on | oneShot}, conversion},
	}
	for _, step := range steps {
		if err := s.link.transfer(step.write, make([]byte, len(step.write))); err != nil {
			return r, err
		}
		if step.wait > 0 {
			sensors.Pause(ctx, step.wait)
		}
	}
	in := make([]byte, 1+registers)
	if err := s.link.transfer(append([]byte{readAll}, make([]byte, registers)...), in); err != nil {
		return r, err
	}
	copy(r[:], in[1:])
	return r, s.link.transfer([]byte{writeConfig, s.setup.config}, make([]byte, 2))
}
