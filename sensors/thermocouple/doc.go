// Package thermocouple reads a thermocouple of type K, J, T or N through a
// MAX31856 converter on SPI, which makes it linear and allows for its own
// temperature, that of the cold junction. The reference and inverse functions
// of ITS-90 are here as well, for checks.
//
// # Wiring
//
// SCK, SDI and SDO to the gateway's SPI pins, CS to a chip select of its own;
// T+ and T- to the thermocouple or its extension leads (of the same type), the
// negative lead to T-. The converter belongs where its temperature is even:
// away from heat and draught, since it is the cold junction.
//
// # Units and range
//
// Readings are °C in steps of 1/128 K (cold junction 1/64 K); K -200 to 1372, J
// -210 to 1200, T -200 to 400, N -200 to 1300, cold junction -55 to 125 (data
// sheet, table 1, from memory; the ends are those of ITS-90's inverse functions).
//
// # Faults
//
// From the chip's fault status register (0Fh; data sheet, table 6, from memory;
// OPEN and OVUV as in the Linux kernel's drivers/iio/temperature/max31856.c):
//
//	D7 CJ range, D5 CJ high, D4 CJ low  out-of-range (of the cold junction)
//	D6 TC range, D3 TC high, D2 TC low  out-of-range
//	D1 OVUV   over- or undervoltage     fault
//	D0 OPEN   wire broken or unplugged  open-circuit
//
// A thermocouple whose wires touch on their way measures there: no chip can
// tell that. A chip that is absent (all ones, all zeros) gives no-answer; one
// that does not keep what is written, garbled. One that lost its power is set
// up again in the same reading.
//
// Data sheet: MAX31856 Precision Thermocouple to Digital Converter with
// Linearization; its register pages were not seen. Registers and bits are from
// memory, those of the Linux driver named above agree.
package thermocouple
