// Package onewire reads DS18B20 thermometers on a 1-wire bus through periph, one
// Source a bus. Where the kernel's own driver (w1_therm) serves, source `file`
// on its `temperature` node does too; this one tells more causes apart.
//
// # Wiring
//
// DQ of all sensors to the bus with one resistor of 4.7 kΩ to 3.3 V, ground, and
// VDD to 3.3 V: the kernel's netlink interface gives no strong pull-up, so
// sensors that feed on the data line (VDD grounded) are not safe on it. One
// cable from sensor to sensor, no star (common practice, no source).
//
// # Units and range
//
// Readings are °C in steps of 1/16 K, from -55 to 125 (data sheet, from memory).
//
// # Faults
//
//   - no-answer: no sensor with that address (all ones), no bus, no time; or the
//     sensor shows the 85 °C of its power-on instead of a conversion
//   - garbled: wrong checksum; or not a DS18B20's scratchpad
//   - short-circuit: all zeros, or a bus that is held low
//   - out-of-range: below -55 or above 125 °C; 127.9 °C means a conversion
//     without enough power
//
// # 85 °C
//
// At power-on the temperature register holds 85 °C (0550h), and the two user
// bytes, TH and TL, are loaded from the sensor's EEPROM (data sheet, section
// "Memory"). So at first contact the user bytes get the complement of what the
// EEPROM holds (the EEPROM itself is not written). If they are lost after a
// conversion, the sensor was without power meanwhile and its 85 °C is none.
// Where they are kept and byte 6 still has its power-on value 0Ch, no
// conversion took place; a conversion at 85.0 °C leaves 10h there (the Linux
// kernel's w1_therm and common libraries use this; not in the data sheet, and
// some copies of the chip never change the byte). Such an 85 °C is believed
// only if the last good reading was within 2 K of it.
//
// Data sheet: DS18B20 Programmable Resolution 1-Wire Digital Thermometer; the
// scratchpad's layout and commands were seen on p. 8 of a public copy and on p.
// 6 and 10 of that of the DS18B20-PAR, the rest is from memory.
package onewire
