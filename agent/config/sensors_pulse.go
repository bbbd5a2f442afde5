package config

import (
	"time"

	"weepd/rules/reading"
)

const (
	defaultPulseEvery = time.Second
	longestPulseEvery = 9 * time.Second // a drop sensor speaks every 10 s
	nodeWant          = "the file with the count, such as /sys/bus/counter/devices/counter0/count0/count"
)

func (d *decoder) counter(p reading.Point, e entry, also field) *Counter {
	c := &Counter{Every: defaultPulseEvery}
	var bits int
	seen := d.mapping(e, also,
		field{"path", d.node(&c.Path, p)},
		field{"bits", d.oneOf(&bits, 16, 32, 64)},
		field{"every", d.duration(&c.Every, shortestEvery, longestPulseEvery, "1s")},
		field{"timeout", d.duration(&c.Timeout, shortestTimeout, longestPulseEvery, "1s")},
	)
	c.Bits = uint(bits)
	d.required(e, seen, "path", "add `path:` of "+nodeWant)
	c.Timeout = d.timeout(e, seen, c.Timeout, c.Every, c.Every)
	return c
}

func (d *decoder) speed(p reading.Point, e entry, also field) *Speed {
	s := &Speed{AtLeast: 2, Window: 2 * time.Second, Bits: 64}
	atLeast, bits := int(s.AtLeast), int(s.Bits)
	before := len(d.faults)
	seen := d.mapping(e, also,
		field{"counter", d.node(&s.Counter, p)},
		field{"at_least", d.whole(&atLeast, 1, 60_000, "pulses in a window, from 1 to 60000")},
		field{"window", d.duration(&s.Window, 500*time.Millisecond, 10*time.Second, "2s")},
		field{"bits", d.whole(&bits, 1, 64, "how wide the counter is, from 1 to 64")},
	)
	s.AtLeast, s.Bits = uint64(atLeast), uint(bits)
	d.required(e, seen, "counter", "add `counter:` of "+nodeWant)
	if len(d.faults) == before {
		d.countable(e, seen, *s)
	}
	return s
}

// mostPulses a second, of sensors/speed: 60 teeth at 6,000 turns a minute.
const mostPulses = 6000

// countable refuses windows in which the counter could wrap around unseen, and
// more pulses than there can be.
func (d *decoder) countable(e entry, seen placed, s Speed) {
	most := mostPulses * s.Window.Seconds()
	at := func(key string) place {
		if p, given := seen[key]; given {
			return p
		}
		return e.at
	}
	if s.Bits < 63 && most+1 >= float64(uint64(1)<<(s.Bits-1)) {
		d.fault(at("bits"), "shorten window, or give a wider counter", "%s: %d bits may wrap around unseen within a window of %s", e.path, s.Bits, short(s.Window))
	}
	if float64(s.AtLeast) > most {
		d.fault(at("at_least"), "lower it, or widen window", "%s.at_least %d in %s is more than %d a second", e.path, s.AtLeast, short(s.Window), mostPulses)
	}
}

// node reads the path of a counter that only one point may have.
func (d *decoder) node(dst *string, p reading.Point) func(entry) {
	return func(e entry) {
		d.path(dst)(e)
		if *dst != "" {
			d.claim("counter "+*dst, quoted(*dst), p, e.path, e.at, "give each sensor a counter of its own")
		}
	}
}
