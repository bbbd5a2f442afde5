package config

import (
	"fmt"
	"slices"
	"time"

	"weepd/rules/reading"
)

// wiring is what the sensors of all glands have in common: who uses what.
type wiring struct {
	claims    map[string]claim
	devices   map[string]*device
	junctions []junction
	registers []registerUse
	sharings  []sharing
	plays     map[string]play // how each recording is played
}

func newWiring() wiring {
	return wiring{claims: map[string]claim{}, devices: map[string]*device{}, plays: map[string]play{}}
}

// wired checks what shows only when all of the file is read.
func (d *decoder) wired(glands []Gland, connections []ModbusConnection) {
	d.pace()
	d.junctionPairs()
	d.connected(connections)
	d.shareSources(glands)
}

// claim is the point that has an input to itself.
type claim struct {
	point reading.Point
	line  int
}

// claim gives an input to a point, or refuses one that is given already. key
// tells inputs apart, what names them.
func (d *decoder) claim(key, what string, p reading.Point, path string, at place, do string) {
	if first, used := d.claims[key]; used {
		if first.point.Kind == p.Kind && slices.Contains(serves(p.Kind), sourceShared) {
			do += ", or share it: {source: shared, point: " + first.point.String() + "}"
		}
		d.fault(at, do, "%s of gland %s is %s, which line %d uses for %s", path, p.Gland, what, first.line, first.point)
		return
	}
	d.claims[key] = claim{p, at.line}
}

// device is a chip or bus with settings of its own. The points on it may give
// them at any of them, once or alike.
type device struct {
	name   string // for people, e.g. SPI 0.1
	source string // the source that reads it
	line   int    // where it was first named
	given  map[string]setting

	settings any // shared by its points
	points   int
	every    time.Duration // how often it is read where nothing else is said
}

// setting is what the file gave for a device, and at which point.
type setting struct {
	value any
	path  string // of the point
	at    place
}

// deviceOf gives the device of that name, a new one for its first point. Where
// the name is not known or another source has the device, the point gets one
// that nobody sees, so that the rest of it is checked all the same.
func (d *decoder) deviceOf(name, source, path string, at place, settings any) *device {
	fresh := &device{name: name, source: source, line: at.line, given: map[string]setting{}, settings: settings, every: defaultEvery}
	dev, known := d.devices[name]
	switch {
	case name == "":
		return fresh
	case !known:
		d.devices[name] = fresh
		return fresh
	case dev.source != source:
		d.fault(at, "give each chip a chip select of its own", "%s is %s, which line %d uses for source %s", path, name, dev.line, dev.source)
		fresh.name = ""
		return fresh
	}
	return dev
}

// share takes over a setting of the device, if this point gives it. A zero
// value is one that could not be read; that fault is enough.
func share[T comparable](d *decoder, dev *device, e entry, seen placed, key string, value T, dst *T) {
	at, given := seen[key]
	var zero T
	if !given || value == zero {
		return
	}
	if before, twice := dev.given[key]; twice && before.value != any(value) {
		d.fault(at, "give it once for all points on it, or alike",
			"%s.%s is %s, but line %d gives %s for the same %s", e.path, key, shown(value), before.at.line, shown(before.value), dev.name)
		return
	} else if !twice {
		dev.given[key] = setting{value, e.path, at}
	}
	*dst = value
}

func shown(value any) string {
	if v, ok := value.(time.Duration); ok {
		return short(v)
	}
	return fmt.Sprint(value)
}

// pace keeps each device's time-out within its round.
func (d *decoder) pace() {
	for _, dev := range d.devices {
		timeout, given := dev.given["timeout"]
		if !given {
			continue
		}
		every := dev.every
		if e, set := dev.given["every"]; set {
			every = e.value.(time.Duration)
		}
		if t := timeout.value.(time.Duration); t > every {
			d.fault(timeout.at, "lower it, or raise every", "%s.timeout %s is longer than every %s", timeout.path, short(t), short(every))
		}
	}
}
