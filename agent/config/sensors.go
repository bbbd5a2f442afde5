package config

import (
	"fmt"
	"slices"

	"github.com/goccy/go-yaml/ast"

	"weepd/rules/reading"
)

// The words of sources in the file.
const (
	sourceGPIO         = "gpio"
	sourceCounter      = "counter"
	sourceSpeed        = "speed"
	sourceFile         = "file"
	sourceRTD          = "rtd"
	sourceThermocouple = "thermocouple"
	sourceOneWire      = "onewire"
	sourceAnalog       = "analog"
	sourceModbus       = "modbus"
	sourceShared       = "shared"
	sourceRecording    = "recording"
	sourceSimulated    = "simulated"
)

// serves lists which sources can give which kind of point: pulses are drops,
// or turning and rest; the others are numbers that are there at any time. Glands
// on one shaft share what tells it turns, and many may share one reference.
func serves(k reading.Kind) []string {
	switch k {
	case reading.Drip:
		return []string{sourceGPIO, sourceCounter, sourceModbus, sourceRecording, sourceSimulated}
	case reading.Run:
		return []string{sourceGPIO, sourceSpeed, sourceFile, sourceAnalog, sourceModbus, sourceShared, sourceRecording, sourceSimulated}
	case reading.Ref:
		return append(temperatures(), sourceShared, sourceRecording, sourceSimulated)
	default:
		return append(temperatures(), sourceRecording, sourceSimulated)
	}
}

func temperatures() []string {
	return []string{sourceFile, sourceRTD, sourceThermocouple, sourceOneWire, sourceAnalog, sourceModbus}
}

func sourceNames() []string {
	return []string{
		sourceGPIO, sourceCounter, sourceSpeed, sourceFile, sourceRTD, sourceThermocouple, sourceOneWire,
		sourceAnalog, sourceModbus, sourceShared, sourceRecording, sourceSimulated,
	}
}

// sensors reads the sources of a gland.
func (d *decoder) sensors(g *Gland, e entry) {
	e.path = "sensors"
	var simulated simulation
	var fields []field
	for kind := range reading.Kinds {
		fields = append(fields, field{kind.String(), func(sub entry) {
			g.Sensors[kind] = d.source(reading.Point{Gland: g.ID, Kind: kind}, sub, &simulated)
		}})
	}
	seen := d.mapping(e, fields...)
	if m, ok := e.value.(*ast.MappingNode); ok && len(m.Values) == 0 {
		d.fault(e.at, "fit drip, temp, ref or run, or remove the line", "sensors is empty")
	}
	for key, at := range seen {
		g.places["sensors."+key] = at
		g.origins["sensors."+key] = fmt.Sprintf("line %d", at.line)
	}
}

// source reads one source. Which keys it may have depends on its kind, so
// that is looked up first.
func (d *decoder) source(p reading.Point, e entry, sim *simulation) *Source {
	ignore := field{"source", func(entry) {}}
	switch name := d.sourceName(p.Kind, e); name {
	case sourceGPIO:
		return &Source{GPIO: d.gpio(p, e, ignore)}
	case sourceCounter:
		return &Source{Counter: d.counter(p, e, ignore)}
	case sourceSpeed:
		return &Source{Speed: d.speed(p, e, ignore)}
	case sourceFile:
		return &Source{File: d.readFile(p, e, ignore)}
	case sourceRTD:
		return &Source{RTD: d.rtd(p, e, ignore)}
	case sourceThermocouple:
		return &Source{Thermocouple: d.thermocouple(p, e, ignore)}
	case sourceOneWire:
		return &Source{OneWire: d.oneWire(p, e, ignore)}
	case sourceAnalog:
		return &Source{Analog: d.analog(p, e, ignore)}
	case sourceModbus:
		return &Source{Modbus: d.register(p, e, ignore)}
	case sourceShared:
		d.shared(p, e, ignore)
		return nil
	case sourceRecording:
		return &Source{Recording: d.recording(p, e, ignore)}
	case sourceSimulated:
		return &Source{Simulated: d.simulated(e, sim, ignore)}
	}
	d.anySource(e, ignore)
	return nil
}

// anySource checks the keys alone where it is not known whose they are.
func (d *decoder) anySource(e entry, also field) {
	if _, ok := e.value.(*ast.MappingNode); !ok {
		return
	}
	fields := []field{also}
	for _, key := range sourceKeys() {
		fields = append(fields, field{key, func(entry) {}})
	}
	d.mapping(e, fields...)
}

// sourceKeys are the keys of all sources but `source` itself.
func sourceKeys() []string {
	return []string{
		"pin", "edge", "pull", "debounce", "debounce_by", "path", "scale", "offset", "every", "timeout",
		"bits", "counter", "at_least", "window", "bus", "sensor", "wires", "ref_ohm", "lead_ohm", "mains_hz",
		"type", "cold_junction", "address", "input", "signal", "shunt_ohm", "divider", "low", "high",
		"threshold", "hysteresis", "connection", "unit", "table", "number", "low_word_first", "fault_numbers",
		"inverted", "speed", "point", "dpm", "shape", "seed",
	}
}

// sourceName gives the word after `source:`, empty if there is no such source.
func (d *decoder) sourceName(kind reading.Kind, e entry) string {
	pairs, ok := d.pairs(e)
	if !ok {
		return ""
	}
	for _, pair := range pairs {
		t := pair.Key.GetToken()
		if t == nil || t.Value != "source" {
			continue
		}
		var name string
		d.present(entry{e.path + ".source", tokenPlace(t), place{}, pair.Value}, func(word entry) {
			if d.text(&name, maxName, words(serves(kind)), nil)(word); name != "" && !slices.Contains(sourceNames(), name) {
				d.choice(&name, serves(kind)...)(word)
				name = ""
			}
		})
		if name != "" && !slices.Contains(serves(kind), name) {
			d.fault(placeOf(pair.Value), "want "+words(serves(kind)), "%s: source %s cannot give %s", e.path, name, kind)
		}
		return name
	}
	d.fault(e.at, "add `source:` "+words(serves(kind)), "%s.source is missing", e.path)
	return ""
}
