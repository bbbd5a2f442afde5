// Package gpio counts drops on a line of the gateway's GPIO: one edge, one
// drop. A Contact reads whether the shaft turns.
//
// # Wiring
//
// Drop sensor: its contact, or the open collector of its light barrier,
// between the line and ground, with a pull-up (in the line, Pull "up", or
// outside); a drop pulls the line low, so the edge is "falling". Lines take
// their chip's voltage, mostly 3.3 V: 12 and 24 V sensors need an opto-coupler.
// Shaft contact: the same, low while it turns; a broken wire then reads as
// rest, which silences `dry`: where that matters wire it the other way round
// (a contact that opens when the shaft turns, Edge "rising").
//
// # Lines
//
// Lines are the kernel's, by the GPIO character device, version 2 of its
// interface (include/uapi/linux/gpio.h, Linux 5.10 or later). Edges carry the
// kernel's time of the interrupt and a number of their own, so they are timed
// to well below 1 ms and what the kernel had to throw away is known, however
// busy the machine is: up to 1,024 edges wait in the kernel, 40 s of the
// fastest dripping. Where the kernel offers no such line, a pin of that name
// that periph.io knows is taken (older kernels, expanders with a driver in
// user space); there edges are timed when seen, and may merge.
//
// # Readings
//
// Drip: a count of new drops, 0 to 1 each; 0 every 9 s while nothing falls. Run:
// 1 turning, 0 at rest. Bad ones:
//
//   - Storm: over 500 edges within a second; more than any water makes, so
//     interference. Said each second until at most 250 came in one.
//   - Lost: edges were thrown away for want of room; Value says how many.
//   - NoAnswer: the chip went away, or the line cannot be had. It is looked
//     for each second and taken again when it is back.
//   - Garbled: the kernel's answer could not be read.
package gpio

import (
	"fmt"
	"log/slog"
	"time"

	"weepd/rules/reading"
)

// Config says which line is watched and how.
type Config struct {
	// Pin is the line's name (GPIO17, DRIP), or chip and number
	// (gpiochip0:17); `gpioinfo` of the package gpiod lists them.
	Pin  string
	Edge string // what a drop does to the line: "rising" or "falling" (default)
	Pull string // resistor in the line: "up", "down", "none", or "" to leave it

	// Debounce is how long after an accepted edge further ones count as
	// bounce of the same drop: 0 to 100 ms. A longer one would hide drops:
	// at 150 ms a quarter of them at 120 a minute. 3 ms suits most contacts
	// (common practice, no source).
	Debounce time.Duration

	// DebounceBy is who does it: "agent" (default), as Debounce says, or
	// "kernel". The kernel wants a level to last for Debounce: that rejects
	// interference, but also drops shorter than that (a drop darkens a light
	// barrier for some 3 ms), and times them only to its timer's tick. Where
	// it cannot, the agent does it.
	DebounceBy string

	Log *slog.Logger // nil is silent
}

const mostDebounce = 100 * time.Millisecond

// The values of Config's words; the first is the default where "" is one.
const (
	falling, rising             = "falling", "rising"
	pullUp, pullDown, pullNone  = "up", "down", "none"
	debounceAgent, debounceKern = "agent", "kernel"
)

func (c Config) withDefaults() Config {
	if c.Edge == "" {
		c.Edge = falling
	}
	if c.DebounceBy == "" {
		c.DebounceBy = debounceAgent
	}
	return c
}

func (c Config) validate(gland string) error {
	switch {
	case c.Pin == "":
		return fmt.Errorf("gpio of gland %s: no pin; name one as `gpioinfo` lists them (package gpiod)", gland)
	case c.Pull != "" && c.Pull != pullUp && c.Pull != pullDown && c.Pull != pullNone:
		return fmt.Errorf("gpio %s: pull %q; want up, down or none", c.Pin, c.Pull)
	case c.Edge != falling && c.Edge != rising:
		return fmt.Errorf("gpio %s: edge %q; want rising or falling", c.Pin, c.Edge)
	case c.Debounce < 0 || c.Debounce > mostDebounce:
		return fmt.Errorf("gpio %s: debounce %s; want 0 to %s", c.Pin, c.Debounce, mostDebounce)
	case c.DebounceBy != debounceAgent && c.DebounceBy != debounceKern:
		return fmt.Errorf("gpio %s: debounce by %q; want agent or kernel", c.Pin, c.DebounceBy)
	case !reading.ValidGlandID(gland):
		return fmt.Errorf("gpio %s: gland id %q; want 1 to %d of A-Z a-z 0-9 _ -", c.Pin, gland, reading.MaxGlandID)
	}
	return nil
}
