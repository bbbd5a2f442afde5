// Package modbus reads registers and bits of Modbus devices, over TCP or a serial
// line (RTU), one Source a connection: many units, many points.
//
// # Wiring
//
// TCP: tcp://host:502, in a network of the plant that strangers do not reach:
// Modbus has no passwords. RTU: rtu:///dev/ttyUSB0, an RS-485 adapter that
// switches its direction by itself; A to A, B to B, the common wire too, 120 Ω at
// both ends of the line, none in between. All units on a line have the same
// speed and parity and different addresses.
//
// # Units and range
//
// Value = number in the register * Scale + Offset, in the unit of the point: °C,
// 1 or 0 for run (or any unit and a threshold). Addresses count from 0 as on the
// wire: what a manual calls 40001 is holding register 0, 30001 input register 0,
// 10001 discrete input 0, 1 coil 0. A drip point is a counter of drops in 16 or
// 32 bits; it may wrap around. Neighbouring registers are read in one request;
// gaps up to MaxGap are read along. Where the device refuses that (exception 2),
// they are read one by one from then on.
//
// # Faults
//
//	time-out, connection refused or lost, exceptions 5, 6, 10, 11  no-answer
//	exceptions 1 to 4, 8                                           fault
//	wrong checksum, short or foreign answer                        garbled
//	NaN, infinity, a number that the device gives for a fault      fault
//	below absolute zero; run without threshold and not 0 or 1      out-of-range
//	counter set anew, or unread for longer than 10 s               lost
//	counter faster than drops can fall                             storm
//
// The notes say which it was. A unit that does not answer is asked less and less
// often, every 10 s at the least, so that it does not hold up the others on its
// line.
//
// Exceptions and limits: MODBUS Application Protocol Specification V1.1b3,
// sections 6 and 7, from memory; register numbers and 32-bit values in both word
// orders checked against pymodbus 3.0.
package modbus
