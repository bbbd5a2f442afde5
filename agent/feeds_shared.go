package agent

import (
	"fmt"

	"weepd/agent/config"
	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/analog"
	"weepd/sensors/modbus"
	"weepd/sensors/onewire"
	"weepd/sensors/thermocouple"
)

// shared are the points that share a source with others, by what they share,
// in the order in which the configuration names it.
type shared struct {
	thermocouples group[*config.ThermocoupleChip]
	oneWires      group[*config.OneWireBus]
	analogs       group[*config.AnalogChip]
	modbuses      group[string] // by the connection's id
}

// member is a point and its own part of the source's settings.
type member struct {
	point  reading.Point
	source *config.Source
}

type group[K comparable] struct {
	order   []K
	members map[K][]member
}

func (g *group[K]) add(key K, m member) {
	if g.members == nil {
		g.members = make(map[K][]member)
	}
	if _, known := g.members[key]; !known {
		g.order = append(g.order, key)
	}
	g.members[key] = append(g.members[key], m)
}

func (s *shared) add(p reading.Point, source *config.Source) {
	m := member{p, source}
	switch {
	case source.Thermocouple != nil:
		s.thermocouples.add(source.Thermocouple.Chip, m)
	case source.OneWire != nil:
		s.oneWires.add(source.OneWire.Bus, m)
	case source.Analog != nil:
		s.analogs.add(source.Analog.Chip, m)
	case source.Modbus != nil:
		s.modbuses.add(source.Modbus.Connection, m)
	}
}

// feeds makes one source of each chip and bus; connections are made apart.
func (s *shared) feeds(w *wiring) {
	for _, chip := range s.thermocouples.order {
		w.thermocouple(chip, s.thermocouples.members[chip])
	}
	for _, bus := range s.oneWires.order {
		w.oneWire(bus, s.oneWires.members[bus])
	}
	for _, chip := range s.analogs.order {
		w.analog(chip, s.analogs.members[chip])
	}
}

func (w *wiring) thermocouple(chip *config.ThermocoupleChip, members []member) {
	cfg := thermocouple.Config{Bus: chip.Bus, MainsHz: chip.MainsHz, Every: chip.Every, Timeout: chip.Timeout, Log: w.log}
	kind, err := thermocouple.ParseType(chip.Type)
	if err != nil {
		w.refuse(members[0], err)
		return
	}
	cfg.Type = kind
	for _, m := range members {
		if m.source.Thermocouple.ColdJunction {
			cfg.Cold = m.point
		} else {
			cfg.Hot = m.point
		}
	}
	live(w, func() (*thermocouple.Source, error) { return thermocouple.Open(cfg, w.clock.Steady) })
}

func (w *wiring) oneWire(bus *config.OneWireBus, members []member) {
	cfg := onewire.Config{Bus: bus.Number, Every: bus.Every, Timeout: bus.Timeout, Log: w.log}
	for _, m := range members {
		address, err := onewire.ParseAddress(m.source.OneWire.Address)
		if err != nil {
			w.refuse(m, err)
			return
		}
		cfg.Sensors = append(cfg.Sensors, onewire.Sensor{Address: address, Point: m.point})
	}
	live(w, func() (*onewire.Source, error) { return onewire.Open(cfg, w.clock.Steady) })
}

func (w *wiring) analog(chip *config.AnalogChip, members []member) {
	cfg := analog.Config{Bus: chip.Bus, Address: chip.Address, Every: chip.Every, Timeout: chip.Timeout, Log: w.log}
	for _, m := range members {
		a := m.source.Analog
		input, err := analog.ParseInput(a.Input)
		if err != nil {
			w.refuse(m, err)
			return
		}
		channel := analog.Channel{
			Point: m.point, Input: input, ShuntOhm: a.ShuntOhm, Divider: a.Divider,
			Low: a.Low, High: a.High, Turning: turning(a.Turning),
		}
		if a.Voltage() {
			channel.Signal = analog.Voltage
		}
		cfg.Channels = append(cfg.Channels, channel)
	}
	live(w, func() (*analog.Source, error) { return analog.Open(cfg, w.clock.Steady) })
}

// connections makes one source of each connection that has points.
func (w *wiring) connections(connections []config.ModbusConnection) {
	for _, c := range connections {
		members := w.shared.modbuses.members[c.ID]
		if len(members) == 0 {
			w.log.Warn("modbus connection is not used by any point", "connection", c.ID)
			continue
		}
		cfg := modbus.Config{
			URL: c.URL, Baud: c.Baud, Parity: c.Parity, StopBits: c.StopBits,
			Every: c.Every, Timeout: c.Timeout, MaxGap: c.MaxGap, Log: w.log,
		}
		for _, m := range members {
			r, err := register(m)
			if err != nil {
				w.refuse(m, err)
				continue
			}
			cfg.Registers = append(cfg.Registers, r)
		}
		live(w, func() (*modbus.Source, error) { return modbus.New(cfg, w.clock.Steady) })
	}
}

func register(m member) (modbus.Register, error) {
	r := m.source.Modbus
	out := modbus.Register{
		Point: m.point, Unit: r.Unit, Address: r.Address, LowWordFirst: r.LowWordFirst, Scale: r.Scale,
		Offset: r.Offset, FaultNumbers: r.FaultNumbers, Turning: turning(r.Turning), Inverted: r.Inverted,
	}
	var err error
	if out.Table, err = modbus.ParseTable(r.Table); err != nil {
		return out, err
	}
	if r.Number != "" { // bits have none
		out.Number, err = modbus.ParseNumber(r.Number)
	}
	return out, err
}

func turning(t *config.Turning) *sensors.Turning {
	if t == nil {
		return nil
	}
	return &sensors.Turning{Threshold: t.Threshold, Hysteresis: t.Hysteresis}
}

// refuse tells what the configuration should have refused.
func (w *wiring) refuse(m member, err error) {
	w.errs = append(w.errs, fmt.Errorf("%s: %w", m.point, err))
}
