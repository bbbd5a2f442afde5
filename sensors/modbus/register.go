package modbus

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strconv"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Table is one of the four tables of a Modbus device.
type Table uint8

// The tables and the function codes that read them (V1.1b3, section 6).
const (
	Holding  Table = iota // 03, registers
	Input                 // 04, registers
	Coil                  // 01, bits
	Discrete              // 02, bits
	tables
)

var tableNames = [tables]string{"holding", "input", "coil", "discrete"}

// ParseTable reads holding, input, coil or discrete.
func ParseTable(s string) (Table, error) {
	if i := slices.Index(tableNames[:], s); i >= 0 {
		return Table(i), nil
	}
	return 0, fmt.Errorf("modbus table %q; want holding, input, coil or discrete", s)
}

// String gives the word that ParseTable reads.
func (t Table) String() string {
	if t < tables {
		return tableNames[t]
	}
	return fmt.Sprintf("table(%d)", uint8(t))
}

func (t Table) bits() bool { return t == Coil || t == Discrete }

// most in one request (V1.1b3, sections 6.1 to 6.4).
func (t Table) most() int {
	if t.bits() {
		return 2000
	}
	return 125
}

// Number is how a register or two hold a number.
type Number uint8

// The numbers; the bytes of a register are always high first.
const (
	U16 Number = iota
	I16
	U32
	I32
	F32
	numbers
)

var numberNames = [numbers]string{"u16", "i16", "u32", "i32", "f32"}

// ParseNumber reads u16, i16, u32, i32 or f32.
func ParseNumber(s string) (Number, error) {
	if i := slices.Index(numberNames[:], s); i >= 0 {
		return Number(i), nil
	}
	return 0, fmt.Errorf("modbus number %q; want u16, i16, u32, i32 or f32", s)
}

// String gives the word that ParseNumber reads.
func (n Number) String() string {
	if n < numbers {
		return numberNames[n]
	}
	return fmt.Sprintf("number(%d)", uint8(n))
}

// width in registers.
func (n Number) width() int {
	if n >= U32 {
		return 2
	}
	return 1
}

// number gives what the register's bytes hold, and the bare bits of a counter.
func (r Register) number(b []byte) (v float64, bits uint32, err error) {
	if len(b) != 2*r.Number.width() {
		return 0, 0, fmt.Errorf("%d bytes for %s", len(b), r.Number)
	}
	if r.Number.width() == 1 {
		bits = uint32(binary.BigEndian.Uint16(b))
	} else {
		high, low := binary.BigEndian.Uint16(b), binary.BigEndian.Uint16(b[2:])
		if r.LowWordFirst {
			high, low = low, high
		}
		bits = uint32(high)<<16 | uint32(low)
	}
	switch r.Number {
	case I16:
		v = float64(int16(bits))
	case I32:
		v = float64(int32(bits))
	case F32:
		v = float64(math.Float32frombits(bits))
	default:
		v = float64(bits)
	}
	return v, bits, nil
}

const absoluteZeroC = -273.15

// decode makes a value of the register's bytes; a drip point's counter is left
// to drops.
func (r Register) decode(b []byte) sensors.Finding {
	v, _, err := r.number(b)
	if err != nil {
		return bad(reading.Garbled, "", err.Error())
	}
	raw := strconv.FormatFloat(v, 'g', -1, 64)
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return bad(reading.Fault, raw, "the device gives "+raw+" for a fault of its sensor")
	case slices.Contains(r.FaultNumbers, v):
		return bad(reading.Fault, raw, "the device gives "+raw+" for a fault of its sensor")
	}
	return r.judge(v*r.Scale+r.Offset, raw)
}

// decodeBit makes a value of a coil or discrete input.
func (r Register) decodeBit(bit bool) sensors.Finding {
	f := sensors.Finding{Raw: strconv.FormatBool(bit)}
	if bit != r.Inverted {
		f.Value = 1
	}
	return f
}

func (r Register) judge(v float64, raw string) sensors.Finding {
	run := r.Point.Kind == reading.Run
	switch {
	case math.IsInf(v, 0) || math.IsNaN(v):
		return bad(reading.OutOfRange, raw, "too large; check scale and offset")
	case run && r.Turning != nil:
		v = r.Turning.Take(v)
	case run && v != 0 && v != 1:
		return bad(reading.OutOfRange, raw, "neither 0 nor 1; give a threshold")
	case !run && v < absoluteZeroC:
		return bad(reading.OutOfRange, raw, "below absolute zero; check number, word order, scale and offset")
	}
	if run && r.Inverted {
		v = 1 - v
	}
	return sensors.Finding{Value: v, Raw: raw}
}

func bad(q reading.Quality, raw, cause string) sensors.Finding {
	return sensors.Finding{Quality: q, Raw: raw, Cause: cause}
}
