// Package rtd reads a platinum resistance thermometer (Pt100 or Pt1000) through
// a MAX31865 converter on SPI.
//
// # Wiring
//
// SCLK, SDI and SDO to the gateway's SPI pins, CS to a chip select of its own.
// The sensor with two, three or four wires as the converter's board is
// jumpered for; over a few metres prefer three or four, since two wires add
// their own resistance (0.385 Ω a kelvin on a Pt100): give it as LeadOhm. The
// reference resistor is printed on the board: commonly 400 or 430 Ω for Pt100,
// ten times that for Pt1000 (common practice, no source).
//
// # Units and range
//
// Readings are °C, from -200 to 850 (IEC 60751), in steps of some 0.03 K.
//
// # Faults
//
// From the chip's fault status register (data sheet p. 21 and 22, tables 10 to
// 12, that is the most likely cause in each):
//
//	D7      resistance at or above the highest  open-circuit
//	D6      resistance at or below the lowest   short-circuit
//	D5      REFIN- above 0.85 VBIAS             open-circuit
//	D4, D3  REFIN- or RTDIN- below 0.85 VBIAS   short-circuit (of a wire to ground)
//	D2      over- or undervoltage               fault
//
// A broken RTDIN+ wire alone can go unnoticed unless the board has 10 MΩ from
// RTDIN+ to BIAS (p. 20). A chip that is absent (all ones, all zeros) gives
// no-answer; one that does not keep what is written, or whose registers
// contradict each other, garbled. The chip is set up at each reading, so one
// that lost its power comes back by itself.
//
// Data sheet: MAX31865 RTD-to-Digital Converter, 19-6478, Rev 3, 7/15; pages 12,
// 14, 15, 20, 21 and 22 were seen in a public copy, other pages are cited from
// memory and marked so.
package rtd
