package thermocouple

import (
	"fmt"

	"weepd/rules/reading"
	"weepd/sensors"
)

// Register addresses: 0Xh to read, 8Xh to write, and on from there (data sheet,
// table 6, from memory; max31856.c of the Linux kernel agrees).
const (
	readAll   = 0x00
	writeAll  = 0x80
	registers = 16

	regCJTH = 0x0A // cold junction, two bytes
	regLTCB = 0x0C // linearised temperature, three bytes
	regSR   = 0x0F // fault status

	settings = 10 // registers 00h to 09h keep what is written
)

// Bits of CR0 (00h) and CR1 (01h), sources as above.
const (
	autoConvert = 0x80 // CR0 D7
	openTest    = 0x10 // CR0 D5:D4 = 01, every 16 conversions; up to 5 kΩ of leads
	filter50Hz  = 0x01 // CR0 D0; 0 is 60 Hz
	average4    = 0x20 // CR1 D6:D4 = 010
)

// Bits of the fault status register, sources as above.
const (
	faultCJ   = 0x80 | 0x20 | 0x10 // range, high, low
	faultTC   = 0x40 | 0x08 | 0x04
	faultOVUV = 0x02
	faultOpen = 0x01
)

// Steps of the results (data sheet, general description: 0.0078125 °C).
const (
	stepC     = 1.0 / 128
	coldStepC = 1.0 / 64
)

// The cold junction's range, °C (data sheet, electrical characteristics: TA).
const (
	coldLowestC  = -55
	coldHighestC = 125
)

// wanted is what the registers 00h to 09h must hold: continuous conversion with
// a test for open wires, faults not brought to the pin (mask), no limits of
// our own, no offset of the cold junction.
func (c Config) wanted() [settings]byte {
	w := [settings]byte{
		autoConvert | openTest, average4 | byte(c.Type), 0xFF,
		0x7F, 0xC0, // cold junction 127 and -64 °C
		0x7F, 0xFF, 0x80, 0x00, // temperature: all that can be written
		0,
	}
	if c.MainsHz == 50 {
		w[0] |= filter50Hz
	}
	return w
}

// answer is the chip's sixteen registers.
type answer [registers]byte

func (a answer) absent() string {
	switch a {
	case answer{}:
		return "all zeros: no chip on this chip select, or it has no power"
	case answer{255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255}:
		return "all ones: no chip on this chip select; check SDO"
	}
	return ""
}

func (a answer) keeps(want [settings]byte) bool { return [settings]byte(a[:settings]) == want }

// celsius of the hot junction: 19 bits, signed, left in three bytes.
func (a answer) celsius() float64 {
	raw := int32(uint32(a[regLTCB])<<24 | uint32(a[regLTCB+1])<<16 | uint32(a[regLTCB+2])<<8)
	return float64(raw>>13) * stepC
}

// coldCelsius: 14 bits, signed, left in two bytes.
func (a answer) coldCelsius() float64 {
	raw := int16(uint16(a[regCJTH])<<8 | uint16(a[regCJTH+1]))
	return float64(raw>>2) * coldStepC
}

// decode makes temperatures of the registers, or says why there are none.
func (c Config) decode(a answer) (hot, cold sensors.Finding) {
	raw := fmt.Sprintf("%.3f °C, cold junction %.2f °C, status %02x", a.celsius(), a.coldCelsius(), a[regSR])
	if why := a.absent(); why != "" {
		return both(bad(reading.NoAnswer, "", why))
	}
	if !a.keeps(c.wanted()) {
		return both(bad(reading.Garbled, fmt.Sprintf("% x", a[:]), "the chip does not keep what is written: is it a MAX31856?"))
	}
	if [5]byte(a[regCJTH:regSR]) == [5]byte{} {
		// Both at 0.000 °C: what the registers hold before any conversion,
		// and while overvoltage stops them.
		if a[regSR]&faultOVUV == 0 {
			return both(bad(reading.NoAnswer, raw, "the chip does not convert"))
		}
	}
	return c.hot(a, raw), c.cold(a, raw)
}

func (c Config) hot(a answer, raw string) sensors.Finding {
	lowest, highest := c.Type.Range()
	switch t, status := a.celsius(), a[regSR]; {
	case status&faultOVUV != 0:
		return bad(reading.Fault, raw, "over- or undervoltage: a wire touches a supply, or earth potentials differ")
	case status&faultOpen != 0:
		return bad(reading.OpenCircuit, raw, "open: thermocouple or lead broken, or unplugged")
	case status&faultCJ != 0:
		return bad(reading.OutOfRange, raw, "the converter itself is too cold or too hot")
	case status&faultTC != 0 || t < lowest || t > highest:
		return bad(reading.OutOfRange, raw, fmt.Sprintf("outside %g to %g °C of type %s: is it that type, and are the wires swapped?", lowest, highest, c.Type))
	default:
		return sensors.Finding{Value: t, Raw: raw}
	}
}

func (c Config) cold(a answer, raw string) sensors.Finding {
	switch t, status := a.coldCelsius(), a[regSR]; {
	case status&faultOVUV != 0:
		// No conversion, of neither, while it lasts.
		return bad(reading.Fault, raw, "over- or undervoltage at the thermocouple stops the converter")
	case status&faultCJ != 0 || t < coldLowestC || t > coldHighestC:
		return bad(reading.OutOfRange, raw, fmt.Sprintf("the converter is outside %d to %d °C", coldLowestC, coldHighestC))
	default:
		return sensors.Finding{Value: t, Raw: raw}
	}
}

func both(f sensors.Finding) (hot, cold sensors.Finding) { return f, f }

func bad(q reading.Quality, raw, cause string) sensors.Finding {
	return sensors.Finding{Quality: q, Raw: raw, Cause: cause}
}
