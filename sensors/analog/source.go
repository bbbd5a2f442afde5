package analog

import (
	"context"
	"encoding/binary"
	"errors"
	"os"

	"periph.io/x/conn/v3/i2c"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Source reads the channels of one converter.
type Source struct {
	cfg   Config
	link  link
	clock sensors.Clock
	*sensors.Notebook
}

// New reads a chip on a bus that the caller has. Use Open to find the bus by
// its name.
func New(cfg Config, bus i2c.Bus, clock sensors.Clock) (*Source, error) {
	return newSource(cfg, func() (i2c.Bus, error) { return kept{bus}, nil }, clock)
}

// kept is a bus that is the caller's to close.
type kept struct{ i2c.Bus }

func newSource(cfg Config, dial dial, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(); err != nil {
		return nil, err
	}
	s := &Source{cfg: cfg, link: newLink(dial, cfg.Address), clock: clock}
	s.Notebook = sensors.NewNotebook(cfg.Log, s.String(), s.Points())
	return s, nil
}

// Points are those of the channels, in the configured order.
func (s *Source) Points() []reading.Point {
	points := make([]reading.Point, len(s.cfg.Channels))
	for i, c := range s.cfg.Channels {
		points[i] = c.Point
	}
	return points
}

// String names the chip.
func (s *Source) String() string { return "analog " + s.cfg.name() }

// Run reads all channels at once and then every cfg.Every until ctx ends. It
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
			for i, c := range s.cfg.Channels {
				f := bad(reading.NoAnswer, "", "no answer within "+s.cfg.Timeout.String()+": the bus hangs")
				if !errors.Is(err, os.ErrDeadlineExceeded) {
					f = c.judge(found[i])
				}
				emit(s.Enter(at, c.Point, f))
			}
		})
	return nil
}

func (s *Source) measure(ctx context.Context) []sensors.Finding {
	found := make([]sensors.Finding, len(s.cfg.Channels))
	for i, c := range s.cfg.Channels {
		f, err := s.convert(ctx, c)
		if err != nil { // of the bus: the others would say the same
			for ; i < len(found); i++ {
				found[i] = bad(reading.NoAnswer, "", err.Error())
			}
			return found
		}
		found[i] = f
	}
	return found
}

// convert makes one conversion of one channel.
func (s *Source) convert(ctx context.Context, c Channel) (sensors.Finding, error) {
	want := configWord(c.Input, narrowest(c.mostVolt()))
	if err := s.link.transfer(binary.BigEndian.AppendUint16([]byte{regConfig}, want), nil); err != nil {
		return sensors.Finding{}, err
	}
	sensors.Pause(ctx, conversion)
	for range looks {
		config, err := s.register(regConfig)
		if err != nil {
			return sensors.Finding{}, err
		}
		switch {
		case config == 0xFFFF || config == 0:
			return bad(reading.NoAnswer, "", "all ones or all zeros: no chip at this address, or it has no power"), nil
		case config&^startOrIdle != want&^startOrIdle:
			return bad(reading.Garbled, "", "the chip does not keep what is written: is it an ADS1115, and does another program use it?"), nil
		case config&startOrIdle != 0:
			code, err := s.register(regConversion)
			return c.decode(int16(code)), err
		}
		sensors.Pause(ctx, again)
	}
	return bad(reading.NoAnswer, "", "the conversion does not end"), nil
}

func (s *Source) register(pointer byte) (uint16, error) {
	var in [2]byte
	err := s.link.transfer([]byte{pointer}, in[:])
	return binary.BigEndian.Uint16(in[:]), err
}
