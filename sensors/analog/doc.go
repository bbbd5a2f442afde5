// Package analog reads transmitters of 4 to 20 mA and 0 to 10 V through an
// ADS1115 converter on I2C, one Source a chip: temperatures, and whether the
// shaft turns, by a number (the motor's current, say) with threshold and
// hysteresis.
//
// # Wiring
//
// SDA, SCL, 3.3 or 5 V and ground to the gateway; ADDR to ground, VDD, SDA or SCL
// for addresses 48h to 4Bh. A current flows through a shunt to ground, its upper
// end to an input: 100 Ω makes 0.4 to 2 V. A voltage comes through a divider,
// e.g. 20 kΩ over 10 kΩ for a ratio of 3. No input may be above the chip's supply
// or below ground by more than 0.3 V (data sheet, absolute maximum, from memory):
// with 3.3 V keep 22 mA and 11 V below that. Long lines want a surge arrester.
// Mind the transmitter's supply: it needs its least voltage plus that of the
// shunt.
//
// # Units and range
//
// Low and High give the value, in the unit of the point (°C; for run any unit),
// at 4 and 20 mA or 0 and 10 V. Conversions take 1/8 s, which takes out mains hum.
//
// # Faults
//
// Of currents, by NAMUR NE 43 (limits from memory; public summaries agree):
//
//	3.8 to 20.5 mA                         measured, also beyond 4 and 20
//	above 3.6 to 3.8, 20.5 to below 21 mA  saturated: held at 3.8 or 20.5 mA, and said
//	3.6 mA or less, 21 mA or more          fault: the transmitter reports it is broken
//	0.4 mA or less                         open-circuit (common practice, no source)
//
// A broken wire of 0 to 10 V reads as 0 V and cannot be told from a measured 0 V:
// prefer 4 to 20 mA. Below -0.2 V is a fault, above 10.5 V out-of-range (common
// practice, no source). A converter at the end of its range is out-of-range. A
// chip that is absent gives no-answer; one that does not keep what is written,
// garbled. It is set up at each conversion, so one that lost its power comes back
// by itself.
//
// Data sheet: ADS111x, SBAS444, revision of January 2018 (the config register was
// seen in a translation of it, JAJS373D, section "Config Register"; the pointer
// register in that of the ADS1115-Q1, SBAS563, p. 18, tables 6 and 7).
package analog
