package config

import (
	"fmt"
	"strconv"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/analog"
	"weepd/sensors/counter"
	"weepd/sensors/modbus"
	"weepd/sensors/onewire"
	"weepd/sensors/rtd"
	"weepd/sensors/speed"
	"weepd/sensors/thermocouple"
)

// Where the defaults of sources come from. Time-outs and rounds are those of the
// packages under sensors.
const (
	ofSource  = "a choice of ours"
	invented  = "invented, as the simulation is"
	nothing   = "nothing is added"
	asItComes = "the value is taken as it comes"
)

// sourceList gathers what is in force for one source.
type sourceList struct {
	key   string // sensors.drip and so on
	lines func(key string) (int, bool)
	list  []Setting
}

// add adds a setting. given says that the file gives it, if perhaps at another
// point of the same device.
func (l *sourceList) add(key, value string, given bool, origin string) {
	key = l.key + "." + key
	from := "default: " + origin
	if line, here := l.lines(key); here {
		from = fmt.Sprintf("line %d", line)
	} else if given {
		from = "given at another point of the same device"
	}
	l.list = append(l.list, Setting{key, value, from})
}

func (l *sourceList) rounds(every, timeout time.Duration, everyGiven, timeoutGiven bool, everyOrigin string) {
	l.add("every", short(every), everyGiven, everyOrigin)
	l.add("timeout", short(timeout), timeoutGiven, ofSource)
}

// sourceSettings lists what is in force for the source of a point beside where it
// is.
func (g Gland) sourceSettings(kind reading.Kind) []Setting {
	s := g.Sensors[kind]
	l := &sourceList{key: "sensors." + kind.String(), lines: g.line}
	switch {
	case g.shares[kind]: // shown where the sensor is
	case s.GPIO != nil:
		l.gpio(*s.GPIO)
	case s.Counter != nil:
		c := counter.Config{Bits: s.Counter.Bits, Every: s.Counter.Every, Timeout: s.Counter.Timeout}.Defaulted()
		l.add("bits", strconv.Itoa(int(c.Bits)), false, "the widest, so that going back always means set anew")
		l.rounds(c.Every, c.Timeout, false, false, ofSource)
	case s.Speed != nil:
		c := speed.Config{AtLeast: s.Speed.AtLeast, Window: s.Speed.Window, Bits: s.Speed.Bits}.Defaulted()
		l.add("at_least", strconv.FormatUint(c.AtLeast, 10), false, ofSource)
		l.add("window", short(c.Window), false, ofSource)
		l.add("bits", strconv.Itoa(int(c.Bits)), false, "the kernel's counters have as many")
	case s.File != nil:
		l.file(*s.File)
	case s.RTD != nil:
		l.rtd(*s.RTD)
	case s.Thermocouple != nil:
		l.thermocouple(*s.Thermocouple)
	case s.OneWire != nil:
		b := s.OneWire.Bus
		c := onewire.Config{Every: b.Every, Timeout: b.Timeout}.Defaulted()
		l.add("bus", b.Number, false, "the first bus of the kernel")
		l.rounds(c.Every, c.Timeout, b.Every != 0, b.Timeout != 0, slowMetal)
	case s.Analog != nil:
		l.analog(*s.Analog)
	case s.Modbus != nil:
		l.modbus(*s.Modbus)
	case s.Recording != nil:
		l.add("speed", fmt.Sprintf("%g", s.Recording.Speed), false, "as fast as it was recorded")
		l.add("point", s.Recording.Point.String(), false, "the gland's own")
	case s.Simulated != nil:
		l.add("dpm", fmt.Sprintf("%g drops/min", s.Simulated.DPM), s.Simulated.DPM != defaultSimDPM, invented)
		l.add("shape", fmt.Sprintf("%g", s.Simulated.Shape), s.Simulated.Shape != defaultSimShape, invented)
		l.add("seed", strconv.FormatInt(s.Simulated.Seed, 10), s.Simulated.Seed != defaultSimSeed, invented)
	}
	return l.list
}

// slowMetal is why temperatures are read no more often.
const slowMetal = "metal warms over minutes; " + practice

func (l *sourceList) gpio(g GPIO) {
	const collector = "an open-collector sensor pulls the line low; " + practice
	l.add("edge", g.Edge, false, collector)
	l.add("pull", g.Pull, false, collector)
	l.add("debounce", short(g.Debounce), false, "contacts bounce for some milliseconds, a starter's for longer; "+practice)
	l.add("debounce_by", g.DebounceBy, false, "works with every chip")
}

func (l *sourceList) file(f File) {
	scale := "as the kernel says"
	if f.Scale != 0 {
		scale = fmt.Sprintf("%g", f.Scale)
	}
	l.add("scale", scale, false, "known for the kernel's nodes, 1 for other files")
	l.add("offset", fmt.Sprintf("%g", f.Offset), false, nothing)
	l.rounds(f.Every, f.Timeout, false, false, "metal warms over minutes, a pump starts at once; "+practice)
}

func (l *sourceList) rtd(r RTD) {
	c := rtd.Config{
		NominalOhm: r.NominalOhm, RefOhm: r.RefOhm, Wires: r.Wires, MainsHz: r.MainsHz, Every: r.Every, Timeout: r.Timeout,
	}.Defaulted()
	l.add("sensor", fmt.Sprintf("pt%g", c.NominalOhm), false, "the usual one; "+practice)
	l.add("wires", strconv.Itoa(c.Wires), false, "the usual wiring; "+practice)
	l.add("ref_ohm", fmt.Sprintf("%g", c.RefOhm), false, "4.3 times the sensor's, as common boards have; "+practice)
	if c.Wires == 2 {
		l.add("lead_ohm", fmt.Sprintf("%g", r.LeadOhm), false, nothing)
	}
	l.add("mains_hz", strconv.Itoa(c.MainsHz), false, ofSource)
	l.rounds(c.Every, c.Timeout, false, false, slowMetal)
}

func (l *sourceList) thermocouple(t Thermocouple) {
	chip := t.Chip
	c := thermocouple.Config{MainsHz: chip.MainsHz, Every: chip.Every, Timeout: chip.Timeout}.Defaulted()
	l.add("cold_junction", strconv.FormatBool(t.ColdJunction), false, "the thermocouple itself is meant")
	l.add("mains_hz", strconv.Itoa(c.MainsHz), c.MainsHz != 50, ofSource)
	l.rounds(c.Every, c.Timeout, chip.Every != 0, chip.Timeout != 0, slowMetal)
}

func (l *sourceList) analog(a Analog) {
	channel := analog.Channel{Point: reading.Point{Kind: reading.Temp}}
	if a.Chip.run {
		channel.Point.Kind = reading.Run
	}
	c := analog.Config{Every: a.Chip.Every, Timeout: a.Chip.Timeout, Channels: []analog.Channel{channel}}.Defaulted()
	l.add("bus", a.Chip.Bus, false, "the usual bus of single-board computers; "+practice)
	l.add("address", fmt.Sprintf("%#x", a.Chip.Address), false, "the first address of the chip")
	if a.Voltage() {
		l.add("divider", given(a.Divider, c.Channels[0].Divider), false, ofSource)
	} else {
		l.add("shunt_ohm", given(a.ShuntOhm, c.Channels[0].ShuntOhm), false, ofSource)
	}
	l.turning(a.Turning)
	l.rounds(c.Every, c.Timeout, a.Chip.Every != 0, a.Chip.Timeout != 0, "metal warms over minutes, a pump starts at once; "+practice)
}

func given(v, otherwise float64) string {
	if v == 0 {
		v = otherwise
	}
	return fmt.Sprintf("%g", v)
}

func (l *sourceList) turning(t *Turning) {
	if t != nil {
		l.add("hysteresis", fmt.Sprintf("%g", t.Hysteresis), false, "none")
	}
}

func (l *sourceList) modbus(r ModbusRegister) {
	l.add("unit", strconv.Itoa(int(r.Unit)), false, "the usual first address; "+practice)
	if r.Number != "" && l.key != "sensors."+reading.Drip.String() {
		l.add("scale", given(r.Scale, 1), false, asItComes)
		l.add("offset", fmt.Sprintf("%g", r.Offset), false, nothing)
	}
	if r.wide() {
		l.add("low_word_first", strconv.FormatBool(r.LowWordFirst), false, "the high word first; "+practice)
	}
	l.turning(r.Turning)
	if l.key == "sensors."+reading.Run.String() {
		l.add("inverted", strconv.FormatBool(r.Inverted), false, asItComes)
	}
}

// modbusSettings lists what is in force for a connection.
func (c ModbusConnection) settings(line func(key string) (int, bool)) []Setting {
	full := modbus.Config{
		URL: c.URL, Every: c.Every, Timeout: c.Timeout, MaxGap: c.MaxGap, Baud: c.Baud, Parity: c.Parity, StopBits: c.StopBits,
	}.Defaulted()
	l := &sourceList{key: "modbus", lines: line}
	l.add("url", c.URL, false, "")
	l.rounds(full.Every, full.Timeout, false, false, ofSource)
	l.add("max_gap", strconv.Itoa(full.MaxGap), false, ofSource)
	if c.serial() {
		const standard = "Modbus over Serial Line V1.02, 2.5.1 (from memory)"
		l.add("baud", strconv.Itoa(full.Baud), false, standard)
		l.add("parity", full.Parity, false, standard)
		l.add("stop_bits", strconv.Itoa(full.StopBits), false, standard)
	}
	for i := range l.list {
		l.list[i].Key = "modbus." + c.ID + l.list[i].Key[len("modbus"):]
	}
	return l.list
}
