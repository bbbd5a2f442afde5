package config

import (
	"cmp"
	"math"
	"strings"

	"weepd/sensors/analog"
)

// Steps of the converters, °C.
const (
	oneWireStepC      = 1.0 / 16  // DS18B20 at 12 bits (data sheet, from memory)
	thermocoupleStepC = 1.0 / 128 // MAX31856, 19 bits (data sheet, from memory)
	coldJunctionStepC = 1.0 / 64  // MAX31856, 14 bits (data sheet, from memory)
	rtdCodes          = 32768     // MAX31865: the ratio to the reference in 15 bits (data sheet, from memory)
	ohmPerC           = 0.00385   // IEC 60751: mean from 0 to 100 °C, of the ohm at 0 °C
	defaultRefRatio   = 4.3       // of sensors/rtd
)

// resolution is one step of the source's value in the unit of its point; 0 where
// it is not known.
func (s *Source) resolution() float64 {
	switch {
	case s.OneWire != nil, s.File != nil && strings.Contains(s.File.Path, "/28-"): // the kernel's node of a DS18B20
		return oneWireStepC
	case s.Thermocouple != nil && s.Thermocouple.ColdJunction:
		return coldJunctionStepC
	case s.Thermocouple != nil:
		return thermocoupleStepC
	case s.RTD != nil:
		ref := cmp.Or(s.RTD.RefOhm, defaultRefRatio*s.RTD.NominalOhm)
		return ref / rtdCodes / (ohmPerC * s.RTD.NominalOhm)
	case s.Analog != nil:
		signal := analog.Current
		if s.Analog.Voltage() {
			signal = analog.Voltage
		}
		return analog.Channel{
			Signal: signal, ShuntOhm: s.Analog.ShuntOhm, Divider: s.Analog.Divider, Low: s.Analog.Low, High: s.Analog.High,
		}.Resolution()
	case s.Modbus != nil && s.Modbus.Number != "" && s.Modbus.Number != "f32":
		return math.Abs(cmp.Or(s.Modbus.Scale, 1))
	}
	return 0 // a file's, a recording's and a simulation's steps are not known
}
