package config

import (
	"fmt"
	"time"

	"weepd/rules/reading"
)

// Source says where the readings of a point come from. Exactly one is set.
// Points that share a sensor have the same *Source.
type Source struct {
	GPIO         *GPIO
	Counter      *Counter
	Speed        *Speed
	File         *File
	RTD          *RTD
	Thermocouple *Thermocouple
	OneWire      *OneWire
	Analog       *Analog
	Modbus       *ModbusRegister
	Recording    *Recording
	Simulated    *Simulated
}

// What is zero below was not given; the source has the default.

// GPIO is a digital input line: pulses of drops, or the shaft's run contact.
type GPIO struct {
	Pin        string        // a line's name, or chip:number; a bare number in the file means GPIO<number>
	Edge       string        // falling or rising: the edge of a drop; for run: falling = low means turning
	Pull       string        // up, down or none
	Debounce   time.Duration // edges closer to the one before are contact bounce; 0 = none
	DebounceBy string        // agent or kernel
}

// Counter is a node of the kernel that counts drops.
type Counter struct {
	Path    string // a relative one in the file starts at the configuration's folder
	Bits    uint   // 16, 32 or 64: where it starts again at 0
	Every   time.Duration
	Timeout time.Duration
}

// Speed is a node of the kernel that counts the shaft's pulses.
type Speed struct {
	Counter string        // its path
	AtLeast uint64        // pulses in a Window, to count as turning
	Window  time.Duration // how often it is looked at
	Bits    uint          // 1 to 64
}

// File is a number in a file, as the kernel's sensor nodes give it:
// value = content * Scale + Offset, in °C for temp and ref, 0 or 1 for run.
type File struct {
	Path    string        // or a pattern; a relative one in the file starts at the configuration's folder
	Scale   float64       // 0: what the kernel says of its nodes, 1 for other files
	Offset  float64       // in the unit of the point
	Every   time.Duration // how often it is read
	Timeout time.Duration // how long one read may take; at most Every
}

// RTD is a platinum thermometer at a converter of its own.
type RTD struct {
	Bus        string // SPI bus and chip select, e.g. 0.0
	NominalOhm float64
	Wires      int // 2, 3 or 4
	RefOhm     float64
	LeadOhm    float64 // of both leads, with two wires
	MainsHz    int
	Every      time.Duration
	Timeout    time.Duration
}

// Thermocouple is one of the two temperatures of a converter. Both share the
// Chip.
type Thermocouple struct {
	Chip         *ThermocoupleChip
	ColdJunction bool
}

// ThermocoupleChip is a thermocouple's converter.
type ThermocoupleChip struct {
	Bus     string // SPI bus and chip select, e.g. 0.0
	Type    string // K, J, T or N
	MainsHz int
	Every   time.Duration
	Timeout time.Duration
}

// OneWire is a thermometer on a bus that all of its points share.
type OneWire struct {
	Bus     *OneWireBus
	Address string // as the kernel names it, e.g. 28-000005e2fdc3
}

// OneWireBus is a bus master of the kernel.
type OneWireBus struct {
	Number  string // 1 for w1_bus_master1
	Every   time.Duration
	Timeout time.Duration
}

// Analog is a transmitter at an input of a converter that all of its points
// share.
type Analog struct {
	Chip     *AnalogChip
	Input    string // 0 to 3, or a difference such as 0-1
	Signal   string // 4-20mA or 0-10V
	ShuntOhm float64
	Divider  float64
	Low      float64 // the value at 4 mA or 0 V
	High     float64 // the value at 20 mA or 10 V
	Turning  *Turning
}

// Voltage reports whether the signal is 0 to 10 V, not 4 to 20 mA.
func (a Analog) Voltage() bool { return a.Signal == voltage }

// AnalogChip is a converter on I2C.
type AnalogChip struct {
	Bus     string // 1 for /dev/i2c-1
	Address uint16
	Every   time.Duration
	Timeout time.Duration
	run     bool // one of its points tells whether a shaft turns
}

// Turning makes "the shaft turns" of a number that grows with load or speed.
type Turning struct{ Threshold, Hysteresis float64 }

// ModbusRegister is a number or bit of a Modbus device.
type ModbusRegister struct {
	Connection   string // id of the ModbusConnection
	Unit         uint8
	Table        string // holding, input, coil or discrete
	Address      uint16 // from 0, as on the wire
	Number       string // u16, i16, u32, i32 or f32; empty for bits
	LowWordFirst bool
	Scale        float64
	Offset       float64
	FaultNumbers []float64
	Turning      *Turning
	Inverted     bool
}

// ModbusConnection is a connection that the points refer to by its id.
type ModbusConnection struct {
	ID       string
	URL      string // tcp://host:port or rtu:///dev/ttyUSB0
	Every    time.Duration
	Timeout  time.Duration
	MaxGap   int // registers read along; -1 = none
	Baud     int
	Parity   string
	StopBits int
}

// Recording plays one point of a recording.
type Recording struct {
	Path  string        // a relative one in the file starts at the configuration's folder
	Speed float64       // 1 = as fast as it was recorded
	Point reading.Point // the point of the recording that is played
}

// Simulated is a simulated gland. All simulated points of a gland are the
// same one, so they share these values.
type Simulated struct {
	DPM   float64 // mean weep, drops per minute
	Shape float64 // regularity of the drops: shape of the gamma-distributed intervals, 1 = random
	Seed  int64   // the same seed gives the same run
}

// Kind gives the source's word in the configuration.
func (s Source) Kind() string {
	switch {
	case s.GPIO != nil:
		return sourceGPIO
	case s.Counter != nil:
		return sourceCounter
	case s.Speed != nil:
		return sourceSpeed
	case s.File != nil:
		return sourceFile
	case s.RTD != nil:
		return sourceRTD
	case s.Thermocouple != nil:
		return sourceThermocouple
	case s.OneWire != nil:
		return sourceOneWire
	case s.Analog != nil:
		return sourceAnalog
	case s.Modbus != nil:
		return sourceModbus
	case s.Recording != nil:
		return sourceRecording
	default:
		return sourceSimulated
	}
}

// String names the source and its device.
func (s Source) String() string {
	switch {
	case s.GPIO != nil:
		return "gpio " + s.GPIO.Pin
	case s.Counter != nil:
		return "counter " + s.Counter.Path
	case s.Speed != nil:
		return "speed pulses " + s.Speed.Counter
	case s.File != nil:
		return "file " + s.File.Path
	case s.RTD != nil:
		return fmt.Sprintf("rtd Pt%g at SPI %s", s.RTD.NominalOhm, s.RTD.Bus)
	case s.Thermocouple != nil:
		return s.Thermocouple.String()
	case s.OneWire != nil:
		return fmt.Sprintf("onewire %s on bus %s", s.OneWire.Address, s.OneWire.Bus.Number)
	case s.Analog != nil:
		return fmt.Sprintf("analog %s at input %s of I2C %s/%#x", s.Analog.Signal, s.Analog.Input, s.Analog.Chip.Bus, s.Analog.Chip.Address)
	case s.Modbus != nil:
		return s.Modbus.String()
	case s.Recording != nil:
		return fmt.Sprintf("recording %s of %s", s.Recording.Point, s.Recording.Path)
	case s.Simulated != nil:
		return fmt.Sprintf("simulated at %g dpm", s.Simulated.DPM)
	}
	return "none"
}

// String names the temperature and its chip.
func (t Thermocouple) String() string {
	if t.ColdJunction {
		return "thermocouple, cold junction, at SPI " + t.Chip.Bus
	}
	return fmt.Sprintf("thermocouple %s at SPI %s", t.Chip.Type, t.Chip.Bus)
}

// String names the place of the number or bit.
func (r ModbusRegister) String() string {
	number := r.Number
	if number != "" {
		number += " "
	}
	return fmt.Sprintf("modbus %s, unit %d, %s%s %d", r.Connection, r.Unit, number, r.Table, r.Address)
}
