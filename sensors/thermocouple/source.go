package thermocouple

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

// Source reads one converter.
type Source struct {
	cfg   Config
	link  link
	clock sensors.Clock
	*sensors.Notebook
}

// New reads a chip to which the caller has a connection: SPI mode 1 or 3, at
// most 5 MHz (data sheet p. 5), 8 bits. Use Open to find it by the bus's name.
func New(cfg Config, conn spi.Conn, clock sensors.Clock) (*Source, error) {
	return newSource(cfg, func() (spi.Conn, io.Closer, error) { return conn, nil, nil }, clock)
}

func newSource(cfg Config, dial dial, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, link: newLink(dial), clock: clock}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points is the hot junction's point, and the cold one's if it has one.
func (s *Source) Points() []reading.Point {
	if s.cfg.Cold == (reading.Point{}) {
		return []reading.Point{s.cfg.Hot}
	}
	return []reading.Point{s.cfg.Hot, s.cfg.Cold}
}

// String names the chip.
func (s *Source) String() string { return "thermocouple SPI" + s.cfg.Bus }

// Run reads at once and then every cfg.Every until ctx ends. It never fails:
// what can be wrong is a quality, see the package's documentation.
func (s *Source) Run(ctx context.Context, emit func(reading.Reading)) error {
	defer s.link.Close()
	sensors.Poll(ctx, s.clock, s.cfg.Every, s.cfg.Timeout,
		func() (answer, error) {
			a, err := s.measure(ctx)
			if ctx.Err() != nil {
				s.link.Close() // it came back late
			}
			return a, err
		},
		func(a answer, err error) {
			hot, cold := s.findings(a, err)
			at := s.clock()
			emit(s.Enter(at, s.cfg.Hot, hot))
			if s.cfg.Cold != (reading.Point{}) {
				emit(s.Enter(at, s.cfg.Cold, cold))
			}
		})
	return nil
}

func (s *Source) findings(a answer, err error) (hot, cold sensors.Finding) {
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded):
		return both(bad(reading.NoAnswer, "", "no answer within "+s.cfg.Timeout.String()+": the bus hangs"))
	case err != nil:
		return both(bad(reading.NoAnswer, "", err.Error()))
	}
	return s.cfg.decode(a)
}

// firstConversion: 169 ms with the 50 Hz filter, 3 times 40 ms more for four
// samples, up to 40 ms for the test for open wires (data sheet, table of
// conversion times, from memory), and as much again.
const firstConversion = 600 * time.Millisecond

// measure reads the latest conversion. A chip that does not hold the settings,
// since it is new or was without power, gets them first.
func (s *Source) measure(ctx context.Context) (answer, error) {
	want := s.cfg.wanted()
	a, err := s.read()
	if err != nil || a.keeps(want) || a.absent() != "" {
		return a, err
	}
	// Off while the settings change, as the data sheet asks (CR0, from
	// memory), then on.
	off := append([]byte{writeAll, want[0] &^ autoConvert}, want[1:]...)
	for _, w := range [][]byte{off, {writeAll, want[0]}} {
		if err := s.link.transfer(w, make([]byte, len(w))); err != nil {
			return a, err
		}
	}
	sensors.Pause(ctx, firstConversion)
	return s.read()
}

func (s *Source) read() (a answer, err error) {
	in := make([]byte, 1+registers)
	err = s.link.transfer(append([]byte{readAll}, make([]byte, registers)...), in)
	copy(a[:], in[1:])
	return a, err
}
