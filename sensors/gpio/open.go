package gpio

import (
	"fmt"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/host/v3"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Open finds cfg.Pin among the host's pins and counts drops on it.
func Open(cfg Config, gland string, clock sensors.Clock) (*Source, error) {
	pin, err := find(cfg, gland)
	if err != nil {
		return nil, err
	}
	return New(cfg, gland, pin, clock)
}

func find(cfg Config, gland string) (gpio.PinIn, error) {
	if cfg.Pin == "" {
		return nil, fmt.Errorf("gpio of gland %s: no pin; name one as `gpioinfo` lists them (package gpiod)", gland)
	}
	if _, _, err := cfg.modes(); err != nil {
		return nil, err
	}
	if _, err := host.Init(); err != nil {
		return nil, fmt.Errorf("gpio %s: look for the host's pins: %w; check the rights to /dev/gpiochip*", cfg.Pin, err)
	}
	pin := gpioreg.ByName(cfg.Pin)
	if pin == nil {
		return nil, fmt.Errorf("gpio %s: no such pin among the %d that were found; list them with `gpioinfo` (package gpiod) and check the rights to /dev/gpiochip*",
			cfg.Pin, len(gpioreg.All()))
	}
	return pin, nil
}

func wrongGland(cfg Config, gland string) error {
	return fmt.Errorf("gpio %s: gland id %q; want 1 to %d of A-Z a-z 0-9 _ -", cfg.Pin, gland, reading.MaxGlandID)
}
