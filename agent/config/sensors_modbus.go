package config

import (
	"fmt"
	"strings"

	"weepd/rules/reading"
)

// Words of registers and bits.
func tableNames() []string  { return []string{"holding", "input", "coil", "discrete"} }
func numberNames() []string { return []string{"u16", "i16", "u32", "i32", "f32"} }

const tableHint = "a manual's 4xxxx are holding, 3xxxx input, 1xxxx discrete, 0xxxx coil"

func (r ModbusRegister) bit() bool { return r.Table == "coil" || r.Table == "discrete" }

// wide says that the number takes two registers.
func (r ModbusRegister) wide() bool { return strings.HasSuffix(r.Number, "32") }

// registerUse is a register and where the file has it; what depends on its
// connection is checked when those are known.
type registerUse struct {
	ModbusRegister
	kind reading.Kind
	e    entry
	seen placed
}

func (d *decoder) register(p reading.Point, e entry, also field) *ModbusRegister {
	r := &ModbusRegister{}
	unit, address := 1, 0
	turning := threshold{}
	fields := []field{
		also,
		{"connection", d.text(&r.Connection, reading.MaxGlandID, "the id of a connection below `modbus:`", nil)},
		{"unit", d.whole(&unit, 0, 255, "the device's address, 1 to 247, with TCP up to 255")},
		{"table", d.choice(&r.Table, tableNames()...)},
		{"address", d.whole(&address, 0, 65535, "an address from 0 to 65535, counted from 0: a manual's 40001 is holding 0")},
		{"number", d.choice(&r.Number, numberNames()...)},
		{"low_word_first", d.truth(&r.LowWordFirst)},
		{"scale", d.factor(&r.Scale)},
		{"offset", d.number(&r.Offset, numberBounds())},
		{"fault_numbers", d.numbers(&r.FaultNumbers, bounds{-1e12, 1e12, false, "a number that the device gives for a fault, e.g. 32767"})},
		{"inverted", d.truth(&r.Inverted)},
	}
	before := len(d.faults)
	seen := d.mapping(e, append(fields, turning.fields(d)...)...)
	r.Unit, r.Address = uint8(unit), uint16(address)
	d.required(e, seen, "connection", "add `connection:`, an id of `modbus:` at the top level")
	d.required(e, seen, "table", "add `table:` "+words(tableNames())+"; "+tableHint)
	d.required(e, seen, "address", "add `address:`, counted from 0")
	r.Turning = d.turning(p, e, seen, turning, false)
	if seen != nil && len(d.faults) == before {
		d.fits(p, e, seen, *r)
		d.claimRegister(p, e, seen, *r)
	}
	if r.Connection != "" {
		d.registers = append(d.registers, registerUse{*r, p.Kind, e, seen})
	}
	return r
}

// fits checks the keys against the point and the table.
func (d *decoder) fits(p reading.Point, e entry, seen placed, r ModbusRegister) {
	refuse := func(why string, keys ...string) {
		for _, key := range keys {
			if at, given := seen[key]; given {
				d.fault(at, "remove it", "%s.%s %s", e.path, key, why)
			}
		}
	}
	number, numbered := seen["number"]
	switch {
	case r.bit() && p.Kind != reading.Run:
		d.fault(seen["table"], "take holding or input", "%s.table %s holds bits, which cannot give %s", e.path, r.Table, p.Kind)
		return
	case r.bit():
		refuse("is of registers, "+r.Table+" holds bits", "number", "low_word_first", "scale", "offset", "fault_numbers", "threshold", "hysteresis")
		return
	case !numbered:
		d.fault(e.at, "add `number:` "+words(numberNames())+", as the device's manual says", "%s.number is missing", e.path)
		return
	case p.Kind == reading.Drip && r.Number != "u16" && r.Number != "u32":
		d.fault(number, "want u16 or u32", "%s.number %s cannot count drops", e.path, r.Number)
	case r.wide() && r.Address == 65535:
		d.fault(seen["address"], "want at most 65534", "%s.address 65535 leaves no room for %s", e.path, r.Number)
	}
	if !r.wide() {
		refuse("is of numbers in two registers", "low_word_first")
	}
	if p.Kind == reading.Drip {
		refuse("does not fit a counter of drops", "scale", "offset", "fault_numbers")
	}
	if p.Kind != reading.Run {
		refuse("is for run points only", "inverted")
	}
}

func (d *decoder) claimRegister(p reading.Point, e entry, seen placed, r ModbusRegister) {
	last := int(r.Address)
	if r.wide() {
		last++
	}
	before := len(d.faults)
	for at := int(r.Address); at <= last && len(d.faults) == before; at++ {
		what := fmt.Sprintf("%s %d of unit %d at %s", r.Table, at, r.Unit, r.Connection)
		d.claim("modbus "+what, what, p, e.path+".address", seen["address"], "give each point a place of its own; u32, i32 and f32 take two registers")
	}
}

// connected checks the registers against their connections.
func (d *decoder) connected(connections []ModbusConnection) {
	byID := map[string]ModbusConnection{}
	var ids []string
	for _, c := range connections {
		if _, twice := byID[c.ID]; !twice && c.ID != "" {
			byID[c.ID] = c
			ids = append(ids, c.ID)
		}
	}
	for _, r := range d.registers {
		c, known := byID[r.Connection]
		if !known {
			d.fault(r.seen["connection"], connectionAdvice(r.Connection, ids), "%s.connection is %s, which is no id below modbus", r.e.path, quoted(r.Connection))
			continue
		}
		unit := r.e.at
		if at, given := r.seen["unit"]; given {
			unit = at
		}
		if c.serial() && (r.Unit < 1 || r.Unit > 247) {
			d.fault(unit, "want 1 to 247", "%s.unit %d is no address on a serial line", r.e.path, r.Unit)
		}
		if r.kind == reading.Drip && c.Every > longestDrip {
			d.fault(r.e.at, "lower every of "+c.ID+" to 3s or less", "%s counts drops over %s, which is read every %s", r.e.path, c.ID, short(c.Every))
		}
	}
}

func connectionAdvice(name string, ids []string) string {
	if len(ids) == 0 {
		return `add it at the top level: modbus: [{id: ` + excerpt(name) + `, url: "tcp://HOST:502"}]`
	}
	if near, found := nearest(name, ids); found {
		return "did you mean " + near + "?"
	}
	return "want " + words(ids)
}
