package config

import (
	"strings"
	"time"

	"weepd/rules/reading"
)

const (
	w1Want      = "the number of a bus master such as 1, for w1_bus_master1"
	addressWant = "the address of a DS18B20 as in /sys/bus/w1/devices, e.g. 28-000005e2fdc3"
	mostOneWire = 32 // thermometers on a bus: each takes some 30 ms to read
)

func (d *decoder) oneWire(p reading.Point, e entry, also field) *OneWire {
	w := &OneWire{}
	number := "1"
	var every, timeout time.Duration
	seen := d.mapping(e, also,
		field{"bus", d.word(&number, w1Want, func(s string) string { return numbered(s, "w1_bus_master") })},
		field{"address", d.text(&w.Address, maxWord, addressWant, validAddress)},
		field{"every", d.duration(&every, 2*time.Second, longestEvery, "10s")},
		field{"timeout", d.duration(&timeout, 2*time.Second, longestEvery, "5s")},
	)
	d.required(e, seen, "address", "add `address:`, "+addressWant)
	w.Address = strings.ToLower(w.Address)
	dev := d.deviceOf(named("1-wire bus", number), sourceOneWire, e.path, e.at, &OneWireBus{Number: number})
	w.Bus = dev.settings.(*OneWireBus)
	share(d, dev, e, seen, "every", every, &w.Bus.Every)
	share(d, dev, e, seen, "timeout", timeout, &w.Bus.Timeout)
	if w.Address == "" || dev.name == "" {
		return w
	}
	d.claim("1-wire "+w.Address, w.Address, p, e.path+".address", seen["address"], "give each sensor an address of its own")
	if dev.points++; dev.points == mostOneWire+1 {
		d.fault(e.at, "put the others on another bus", "%s is number %d on %s, which takes %d", e.path, dev.points, dev.name, mostOneWire)
	}
	return w
}

func validAddress(s string) bool {
	serial, found := strings.CutPrefix(s, "28-")
	return found && len(serial) == 12 && strings.Trim(serial, "0123456789abcdefABCDEF") == ""
}
