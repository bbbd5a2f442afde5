package config

import (
	"strings"
	"time"

	"weepd/rules/reading"
)

const spiWant = "SPI bus and chip select such as 0.0, for /dev/spidev0.0"

// spi reads the place of a chip on SPI: 0.0, SPI0.0 or /dev/spidev0.0.
func (d *decoder) spi(dst *string) func(entry) {
	return d.word(dst, spiWant, func(s string) string {
		bus, chip, found := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(s, "/dev/spidev"), "SPI"), ".")
		if bus, chip = numbered(bus), numbered(chip); !found || bus == "" || chip == "" {
			return ""
		}
		return bus + "." + chip
	})
}

// named gives the name of a device, empty where its place is not known.
func named(sort, number string) string {
	if number == "" {
		return ""
	}
	return sort + " " + number
}

func (d *decoder) rtd(p reading.Point, e entry, also field) *RTD {
	r := &RTD{NominalOhm: 100, Wires: 3, MainsHz: 50}
	var sensor string
	var here struct{ every, timeout time.Duration }
	seen := d.mapping(e, also,
		field{"bus", d.spi(&r.Bus)},
		field{"sensor", d.choice(&sensor, "pt100", "pt1000")},
		field{"wires", d.oneOf(&r.Wires, 2, 3, 4)},
		field{"ref_ohm", d.number(&r.RefOhm, bounds{0, 10_000, true, "the reference resistor in ohm, as printed on the board"})},
		field{"lead_ohm", d.number(&r.LeadOhm, bounds{0, 500, false, "ohm of both leads together, from 0 to half the sensor's"})},
		field{"mains_hz", d.oneOf(&r.MainsHz, 50, 60)},
		field{"every", d.duration(&here.every, 500*time.Millisecond, longestEvery, "10s")},
		field{"timeout", d.duration(&here.timeout, 500*time.Millisecond, longestEvery, "2s")},
	)
	if sensor == "pt1000" {
		r.NominalOhm = 1000
	}
	d.required(e, seen, "bus", "add `bus:` of "+spiWant)
	d.resistors(*r, e, seen)
	dev := d.deviceOf(named("SPI", r.Bus), sourceRTD, e.path+".bus", seen["bus"], r)
	if dev.name != "" {
		d.claim(dev.name, dev.name, p, e.path+".bus", seen["bus"], "give each sensor a chip select of its own")
	}
	share(d, dev, e, seen, "every", here.every, &r.Every)
	share(d, dev, e, seen, "timeout", here.timeout, &r.Timeout)
	return r
}

// resistors fit the sensor and its wiring. The reference resistor is that of
// sensors/rtd where none is given.
func (d *decoder) resistors(r RTD, e entry, seen placed) {
	if r.RefOhm != 0 && (r.RefOhm <= r.NominalOhm || r.RefOhm > 10*r.NominalOhm) {
		d.fault(seen["ref_ohm"], "give what is printed on the board, commonly 4 to 4.3 times the sensor's",
			"%s.ref_ohm %g is not above the sensor's %g ohm and at most ten times that", e.path, r.RefOhm, r.NominalOhm)
	}
	switch {
	case r.LeadOhm > 0 && r.Wires != 2:
		d.fault(seen["lead_ohm"], "remove it, or give `wires: 2`", "%s.lead_ohm with %d wires, which take the leads out", e.path, r.Wires)
	case r.LeadOhm > r.NominalOhm/2:
		d.fault(seen["lead_ohm"], "give the ohm of both leads together", "%s.lead_ohm %g is more than half the sensor's %g ohm", e.path, r.LeadOhm, r.NominalOhm)
	}
}

func (d *decoder) thermocouple(p reading.Point, e entry, also field) *Thermocouple {
	t := &Thermocouple{}
	var here ThermocoupleChip
	seen := d.mapping(e, also,
		field{"bus", d.spi(&here.Bus)},
		field{"type", d.choice(&here.Type, "K", "J", "T", "N")},
		field{"cold_junction", d.truth(&t.ColdJunction)},
		field{"mains_hz", d.oneOf(&here.MainsHz, 50, 60)},
		field{"every", d.duration(&here.Every, 2*time.Second, longestEvery, "10s")},
		field{"timeout", d.duration(&here.Timeout, 2*time.Second, longestEvery, "2s")},
	)
	d.required(e, seen, "bus", "add `bus:` of "+spiWant)
	dev := d.deviceOf(named("SPI", here.Bus), sourceThermocouple, e.path+".bus", seen["bus"], &ThermocoupleChip{Bus: here.Bus, MainsHz: 50})
	t.Chip = dev.settings.(*ThermocoupleChip)
	share(d, dev, e, seen, "type", here.Type, &t.Chip.Type)
	share(d, dev, e, seen, "mains_hz", here.MainsHz, &t.Chip.MainsHz)
	share(d, dev, e, seen, "every", here.Every, &t.Chip.Every)
	share(d, dev, e, seen, "timeout", here.Timeout, &t.Chip.Timeout)
	if dev.name == "" {
		return t
	}
	what := "the thermocouple at " + dev.name
	if t.ColdJunction {
		what = "the cold junction at " + dev.name
	}
	d.claim(what, what, p, e.path+".bus", seen["bus"], "give each sensor a chip select of its own")
	d.junctions = append(d.junctions, junction{*t, e, dev.name, has(seen, "type")})
	return t
}

// junction is one of the temperatures of a thermocouple's converter, and where
// the file has it.
type junction struct {
	Thermocouple
	e     entry
	name  string // of the device
	typed bool   // it gave the type, if perhaps a wrong one
}

// junctionPairs refuses a thermocouple of unknown type, which would read wrongly, and a
// cold junction without one.
func (d *decoder) junctionPairs() {
	hot, typed := map[string]bool{}, map[string]bool{}
	for _, j := range d.junctions {
		hot[j.name] = hot[j.name] || !j.ColdJunction
		typed[j.name] = typed[j.name] || j.typed
	}
	for _, j := range d.junctions {
		switch {
		case !j.ColdJunction && !typed[j.name]:
			d.fault(j.e.at, "add `type:` K, J, T or N, as on its leads", "%s.type is missing", j.e.path)
		case j.ColdJunction && !hot[j.name]:
			d.fault(j.e.at, "add the point that it measures, or take another source here", "%s is the cold junction of %s, where no point has the thermocouple", j.e.path, j.name)
		}
	}
}
