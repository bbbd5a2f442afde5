package onewire

import (
	"encoding/binary"
	"fmt"

	"periph.io/x/conn/v3/onewire"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Commands (data sheet, function command set; Skip ROM from memory).
const (
	skipROM         = 0xCC
	convert         = 0x44
	readScratchpad  = 0xBE
	writeScratchpad = 0x4E // TH, TL, configuration
	recallEEPROM    = 0xB8
)

// family is in the lowest byte of each DS18B20's address (data sheet p. 8).
const family = 0x28

const (
	// twelveBits is the configuration byte for steps of 1/16 K: 0 R1 R0 1 1 1 1
	// 1 (data sheet, configuration register).
	twelveBits = 0x7F
	stepC      = 1.0 / 16
	lowestC    = -55
	highestC   = 125

	powerOnRaw  = 0x0550 // 85 °C
	noPowerRaw  = 0x07FF // 127.94 °C
	powerOnByte = 0x0C   // byte 6
	nearC       = 2.0    // of 85 °C, for a copy of the chip that never changes byte 6
	powerOnC    = 85
)

// scratchpad is the sensor's memory: temperature, TH, TL, configuration, three
// reserved bytes, checksum.
type scratchpad [9]byte

func (s scratchpad) raw() int16       { return int16(binary.LittleEndian.Uint16(s[:2])) }
func (s scratchpad) celsius() float64 { return float64(s.raw()) * stepC }
func (s scratchpad) user() [3]byte    { return [3]byte(s[2:5]) }

// mark is what the user bytes must hold so that a loss of power shows: the
// complement of what the EEPROM loads.
func (s scratchpad) mark() [3]byte { return [3]byte{^s[2], ^s[3], twelveBits} }

// unreadable says why these are not a DS18B20's bytes; Good if they are.
func (s scratchpad) unreadable() sensors.Finding {
	raw := fmt.Sprintf("% x", s[:])
	switch {
	case s == scratchpad{}: // its checksum is right
		return bad(reading.ShortCircuit, raw, "all zeros: the data line touches ground, or the sensor has no power")
	case s == scratchpad{255, 255, 255, 255, 255, 255, 255, 255, 255}:
		return bad(reading.NoAnswer, raw, "no sensor with this address answers; check address and wiring")
	case !onewire.CheckCRC(s[:]):
		return bad(reading.Garbled, raw, "wrong checksum: interference, cable too long, or pull-up too weak")
	case s[4]&0x9F != 0x1F:
		return bad(reading.Garbled, raw, "these are not the bytes of a DS18B20")
	}
	return sensors.Finding{Raw: raw}
}

// decode reads a scratchpad after a conversion. mark is what was written to it
// before; last is the last good temperature, NaN for none.
func decode(s scratchpad, mark [3]byte, last float64) sensors.Finding {
	f := s.unreadable()
	if !f.Quality.OK() {
		return f
	}
	raw := fmt.Sprintf("%04x", uint16(s.raw()))
	t := s.celsius()
	near := last > powerOnC-nearC && last < powerOnC+nearC
	switch {
	case s.user() != mark:
		return bad(reading.NoAnswer, raw, "the sensor was without power during the conversion; check VDD")
	case s.raw() == powerOnRaw && s[6] == powerOnByte && !near:
		return bad(reading.NoAnswer, raw, "85 °C is what the sensor holds after power-on: no conversion took place; check VDD")
	case s.raw() == noPowerRaw:
		return bad(reading.OutOfRange, raw, "127.9 °C: a conversion without enough power; connect VDD")
	case t < lowestC || t > highestC:
		return bad(reading.OutOfRange, raw, fmt.Sprintf("%g °C; the sensor measures %d to %d", t, lowestC, highestC))
	}
	return sensors.Finding{Value: t, Raw: raw}
}

func bad(q reading.Quality, raw, cause string) sensors.Finding {
	return sensors.Finding{Quality: q, Raw: raw, Cause: cause}
}
