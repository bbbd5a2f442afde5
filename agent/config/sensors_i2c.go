package config

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"weepd/rules/reading"
)

const (
	i2cWant        = "the number of an I2C bus such as 1, for /dev/i2c-1"
	converterWant  = "0x48 to 0x4b, as the converter's ADDR pin is wired"
	firstConverter = 0x48
	lastConverter  = 0x4b

	current, voltage = "4-20mA", "0-10V"
)

// analogInput takes an input against ground, or the difference of two.
func analogInput(s string) string {
	if slices.Contains([]string{"0", "1", "2", "3", "0-1", "0-3", "1-3", "2-3"}, s) {
		return s
	}
	return ""
}

func (d *decoder) analog(p reading.Point, e entry, also field) *Analog {
	a := &Analog{}
	var here struct {
		every, timeout time.Duration
		address        string
	}
	bus := "1"
	low, high := math.NaN(), math.NaN()
	turning := threshold{}
	fields := []field{
		also,
		{"bus", d.word(&bus, i2cWant, func(s string) string { return numbered(s, "/dev/i2c-", "I2C") })},
		{"address", d.word(&here.address, converterWant, converter)},
		{"input", d.word(&a.Input, "0 to 3, or 0-1, 0-3, 1-3 or 2-3 for a difference", analogInput)},
		{"signal", d.choice(&a.Signal, current, voltage)},
		{"shunt_ohm", d.number(&a.ShuntOhm, bounds{0.5, 227, false, "ohm from 0.5 to 227, so that 22 mA make at most 5 V"})},
		{"divider", d.number(&a.Divider, bounds{2.2, 1000, false, "a ratio from 2.2 to 1000, so that 11 V make at most 5 V"})},
		{"low", d.number(&low, numberBounds())},
		{"high", d.number(&high, numberBounds())},
		{"every", d.duration(&here.every, time.Second, longestEvery, "10s")},
		{"timeout", d.duration(&here.timeout, time.Second, longestEvery, "2s")},
	}
	seen := d.mapping(e, append(fields, turning.fields(d)...)...)
	a.Low, a.High = low, high
	d.span(e, seen, *a)
	a.Turning = d.turning(p, e, seen, turning, true)
	dev := d.converterAt(e, seen, bus, here.address)
	a.Chip = dev.settings.(*AnalogChip)
	if p.Kind == reading.Run {
		dev.every, a.Chip.run = time.Second, true
	}
	share(d, dev, e, seen, "every", here.every, &a.Chip.Every)
	share(d, dev, e, seen, "timeout", here.timeout, &a.Chip.Timeout)
	if dev.name != "" && a.Input != "" {
		d.claimInput(dev.name, a.Input, p, e, seen["input"])
	}
	return a
}

// converterAt gives the chip at an address, the first one's if it is left out.
func (d *decoder) converterAt(e entry, seen placed, bus, address string) *device {
	chip := &AnalogChip{Bus: bus, Address: firstConverter}
	if n, err := strconv.ParseUint(strings.TrimPrefix(address, "0x"), 16, 16); err == nil {
		chip.Address = uint16(n)
	}
	name := ""
	if bus != "" && (address != "" || !has(seen, "address")) {
		name = fmt.Sprintf("I2C %s/%#x", bus, chip.Address)
	}
	return d.deviceOf(name, sourceAnalog, e.path, e.at, chip)
}

// converter gives the address as it is usually written, 0x48.
func converter(s string) string {
	digits, found := strings.CutPrefix(strings.ToLower(s), "0x")
	if n, err := strconv.ParseUint(digits, 16, 16); found && err == nil && n >= firstConverter && n <= lastConverter {
		return "0x" + digits
	}
	return ""
}

// claimInput claims the first wire of an input. The second of a difference is
// often common to several.
func (d *decoder) claimInput(chip, input string, p reading.Point, e entry, at place) {
	wire, _, _ := strings.Cut(input, "-")
	d.claim(chip+" input "+wire, "input "+wire+" of "+chip, p, e.path+".input", at, "give each sensor an input of its own")
}

// span checks what the signal means.
func (d *decoder) span(e entry, seen placed, a Analog) {
	d.required(e, seen, "input", "add `input:` 0 to 3")
	d.required(e, seen, "signal", "add `signal:` "+current+" or "+voltage)
	d.required(e, seen, "low", "add `low:`, the value at 4 mA or 0 V")
	d.required(e, seen, "high", "add `high:`, the value at 20 mA or 10 V")
	if a.Low == a.High {
		d.fault(seen["high"], "give the values at both ends of the signal", "%s.low and high are both %g", e.path, a.Low)
	}
	if at, given := seen["shunt_ohm"]; given && a.Signal == voltage {
		d.fault(at, "remove it, or give divider", "%s.shunt_ohm with a signal of %s", e.path, voltage)
	}
	if at, given := seen["divider"]; given && a.Signal == current {
		d.fault(at, "remove it, or give shunt_ohm", "%s.divider with a signal of %s", e.path, current)
	}
}
