package gpio

import (
	"errors"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	periph "periph.io/x/host/v3"

	"weepd/sensors"
)

// opener asks for a line anew, each time it is called.
type opener func(use) (line, error)

// Open counts drops on the line cfg.Pin, which must be there and free now.
func Open(cfg Config, gland string, clock sensors.Clock) (*Source, error) {
	cfg, open, err := prepare(kernel{}, cfg, gland, clock)
	if err != nil {
		return nil, err
	}
	return newSource(cfg, gland, open, clock), nil
}

// OpenContact reads a contact on the line cfg.Pin, which must be there and
// free now.
func OpenContact(cfg Config, gland string, clock sensors.Clock) (*Contact, error) {
	cfg, open, err := prepare(kernel{}, cfg, gland, clock)
	if err != nil {
		return nil, err
	}
	return newContact(cfg, gland, open, clock), nil
}

// New counts drops on a pin of periph.io that the caller has.
func New(cfg Config, gland string, pin gpio.PinIn, clock sensors.Clock) (*Source, error) {
	cfg, open, err := ofPin(cfg, gland, pin, clock)
	if err != nil {
		return nil, err
	}
	return newSource(cfg, gland, open, clock), nil
}

// NewContact reads a contact on a pin of periph.io that the caller has. periph's
// pins hide errors of reading, so that a chip that went away reads as low.
func NewContact(cfg Config, gland string, pin gpio.PinIn, clock sensors.Clock) (*Contact, error) {
	cfg, open, err := ofPin(cfg, gland, pin, clock)
	if err != nil {
		return nil, err
	}
	return newContact(cfg, gland, open, clock), nil
}

func ofPin(cfg Config, gland string, pin gpio.PinIn, clock sensors.Clock) (Config, opener, error) {
	if cfg.Pin == "" {
		cfg.Pin = pin.Name()
	}
	cfg = cfg.withDefaults()
	return cfg, func(u use) (line, error) { return setUp(pin, u, clock) }, cfg.validate(gland)
}

// prepare finds out whether the line is one of the kernel's or, failing that,
// of periph.io's.
func prepare(h host, cfg Config, gland string, clock sensors.Clock) (Config, opener, error) {
	cfg = cfg.withDefaults()
	if err := cfg.validate(gland); err != nil {
		return cfg, nil, err
	}
	p, err := find(h, cfg.Pin)
	if err == nil && p.line.used {
		return cfg, nil, busy(cfg.Pin, p, p.line)
	}
	if err == nil {
		return cfg, func(u use) (line, error) { return obtain(h, u) }, nil
	}
	if pin := byName(cfg.Pin, err); pin != nil {
		return ofPin(cfg, gland, pin, clock)
	}
	return cfg, nil, err
}

// byName gives periph.io's pin where the kernel has no such line, or is too old
// to say (before Linux 5.10 it does not know the request); never one that the
// kernel refuses.
func byName(name string, why error) gpio.PinIn {
	if !errors.Is(why, errNoLine) && !errors.Is(why, unix.ENOTTY) && !errors.Is(why, unix.EINVAL) {
		return nil
	}
	if _, err := periph.Init(); err != nil {
		return nil // then why says what to do
	}
	if pin := gpioreg.ByName(name); pin != nil {
		return pin
	}
	return nil
}
