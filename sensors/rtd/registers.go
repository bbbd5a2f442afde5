package rtd

import (
	"fmt"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Register addresses: 0Xh to read, 8Xh to write, and on from there (p. 12;
// the table of all eight, table 1, from memory).
const (
	readAll         = 0x00
	writeConfig     = 0x80
	writeThresholds = 0x83
	registers       = 8
)

// Bits of the configuration register (p. 12; table 2 from memory).
const (
	biasOn      = 0x80 // D7
	oneShot     = 0x20 // D5, clears itself
	threeWire   = 0x10 // D4
	detectFault = 0x04 // D3:D2 = 01, the automatic fault detection cycle, clears itself
	clearFaults = 0x02 // D1, clears itself
	filter50Hz  = 0x01 // D0; 0 is 60 Hz
)

// Bits of the fault status register (p. 15, 21 and 22).
const (
	faultHigh     = 0x80 // at or above the high threshold
	faultLow      = 0x40 // at or below the low threshold
	faultRefHigh  = 0x20 // REFIN- > 0.85 VBIAS
	faultRefLow   = 0x10 // REFIN- < 0.85 VBIAS, FORCE- open
	faultRTDINLow = 0x08 // RTDIN- < 0.85 VBIAS, FORCE- open
	faultVoltage  = 0x04 // an input above VDD or below GND1
)

// fullScale: the data are the ratio to the reference resistor in 15 bits, left
// of a fault bit (p. 14, table 4 and 5).
const fullScale = 1 << 15

// answer is the chip's eight registers.
type answer struct {
	config    byte
	code      uint16 // 15 bits
	fault     bool
	high, low uint16 // thresholds, as the data registers
	status    byte
}

func parse(r [registers]byte) answer {
	return answer{
		config: r[0],
		code:   (uint16(r[1])<<8 | uint16(r[2])) >> 1,
		fault:  r[2]&1 != 0,
		high:   uint16(r[3])<<8 | uint16(r[4]),
		low:    uint16(r[5])<<8 | uint16(r[6]),
		status: r[7],
	}
}

// decode makes a temperature of the registers, or says why there is none.
func (s setup) decode(r [registers]byte) sensors.Finding {
	switch r {
	case [registers]byte{}:
		return bad(reading.NoAnswer, "", "all zeros: no chip on this chip select, or it has no power")
	case [registers]byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}:
		return bad(reading.NoAnswer, "", "all ones: no chip on this chip select; check SDO")
	}
	a := parse(r)
	if a.config != s.config|biasOn || a.high != s.high || a.low != s.low {
		return bad(reading.Garbled, fmt.Sprintf("% x", r[:]), "the chip does not keep what is written: is it a MAX31865?")
	}
	ohm := float64(a.code)/fullScale*s.refOhm - s.leadOhm
	raw := fmt.Sprintf("%.2f Ω", ohm)
	if a.status != 0 || a.fault {
		return s.fault(a, raw)
	}
	t := CelsiusAt(ohm, s.nominalOhm)
	if !(t >= LowestC && t <= HighestC) {
		return bad(reading.OutOfRange, raw, fmt.Sprintf("outside %d to %d °C: is it a Pt%g, and the reference resistor %g Ω?", LowestC, HighestC, s.nominalOhm, s.refOhm))
	}
	return sensors.Finding{Value: t, Raw: raw}
}

func (s setup) fault(a answer, raw string) sensors.Finding {
	above, below := a.code<<1 >= s.high, a.code<<1 <= s.low
	switch {
	case a.status&faultHigh != 0 && !above, a.status&faultLow != 0 && !below, a.status&0x03 != 0:
		// Another chip's registers. The fault bits stay until they are
		// cleared, but that is done before each conversion.
		return bad(reading.Garbled, raw, "the registers contradict each other: is it a MAX31865?")
	case a.status&faultVoltage != 0:
		return bad(reading.Fault, raw, "over- or undervoltage at the sensor's terminals: a wire touches a supply, or earth potentials differ")
	case a.status&faultHigh != 0:
		return bad(reading.OpenCircuit, raw, "open: sensor or wire broken, or unplugged")
	case a.status&faultLow != 0:
		return bad(reading.ShortCircuit, raw, "short: the sensor's wires touch each other")
	case a.status&faultRefHigh != 0:
		return bad(reading.OpenCircuit, raw, "open: sensor or FORCE wire broken")
	case a.status&(faultRefLow|faultRTDINLow) != 0:
		return bad(reading.ShortCircuit, raw, "short: a wire of the sensor touches ground")
	default:
		return bad(reading.Fault, raw, "the chip reports a fault without its cause")
	}
}

func bad(q reading.Quality, raw, cause string) sensors.Finding {
	return sensors.Finding{Quality: q, Raw: raw, Cause: cause}
}
