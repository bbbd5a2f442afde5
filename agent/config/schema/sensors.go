package schema

// Sensors has one source each for what a gland has; absent = not fitted.
type Sensors struct {
	// Drops.
	Drip *Drip `json:"drip,omitempty"`
	// Temperature of the gland.
	Temp *Temp `json:"temp,omitempty"`
	// Reference: pumped liquid, flush water or air near the pump.
	Ref *Ref `json:"ref,omitempty"`
	// Whether the shaft turns.
	Run *Run `json:"run,omitempty"`
}

// Drip is a source of drops.
type Drip struct {
	OneOf
	GPIO      GPIO
	Counter   Counter
	Modbus    ModbusCount
	Recording Recording
	Simulated Simulated
}

// Temp is a source of a gland's temperature.
type Temp struct {
	OneOf
	File         File
	RTD          RTD
	Thermocouple Thermocouple
	OneWire      OneWire
	Analog       Analog
	Modbus       ModbusNumber
	Recording    Recording
	Simulated    Simulated
}

// Ref is a source of the reference's temperature.
type Ref struct {
	OneOf
	File         File
	RTD          RTD
	Thermocouple Thermocouple
	OneWire      OneWire
	Analog       Analog
	Modbus       ModbusNumber
	Shared       Shared
	Recording    Recording
	Simulated    Simulated
}

// Run is a source of turning and rest.
type Run struct {
	OneOf
	GPIO      GPIO
	Speed     Speed
	File      File
	Analog    AnalogRun
	Number    ModbusRun
	Bit       ModbusBit
	Shared    Shared
	Recording Recording
	Simulated Simulated
}

// GPIO is a digital input line.
type GPIO struct {
	Source string `json:"source" jsonschema:"enum=gpio"`
	// The line.
	Pin Pin `json:"pin"`
	// The edge of a drop; for run, falling = low means turning.
	Edge string `json:"edge,omitempty" jsonschema:"enum=falling,enum=rising,default=falling"`
	// Bias of the line.
	Pull string `json:"pull,omitempty" jsonschema:"enum=up,enum=down,enum=none,default=up"`
	// Edges closer to the one before are contact bounce, up to 100ms.
	Debounce Duration `json:"debounce,omitempty"`
	// Who takes the bounce out.
	DebounceBy string `json:"debounce_by,omitempty" jsonschema:"enum=agent,enum=kernel,default=agent"`
}

// Counter is a node of the kernel, or any file with a rising number.
type Counter struct {
	Source string `json:"source" jsonschema:"enum=counter"`
	// The file with the count.
	Path Path `json:"path"`
	// Where it starts again at 0.
	Bits Whole `json:"bits,omitempty" jsonschema:"enum=16,enum=32,enum=64"`
	// How often it is read.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=1s"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty"`
}

// Speed is a node of the kernel that counts the shaft's pulses.
type Speed struct {
	Source string `json:"source" jsonschema:"enum=speed"`
	// The file with the count.
	Counter Path `json:"counter"`
	// Pulses in a window that count as turning.
	AtLeast Whole `json:"at_least,omitempty" jsonschema:"minimum=1,maximum=60000,default=2"`
	// How often it is looked at.
	Window Duration `json:"window,omitempty" jsonschema_extras:"default=2s"`
	// How wide the counter is.
	Bits Whole `json:"bits,omitempty" jsonschema:"minimum=1,maximum=64,default=64"`
}

// File is a number in a file, as the kernel's sensor nodes give it.
type File struct {
	Source string `json:"source" jsonschema:"enum=file"`
	// The file or a pattern.
	Path Path `json:"path"`
	// Factor from the content to °C, or to 0 and 1 for run; found for the kernel's nodes.
	Scale float64 `json:"scale,omitempty" jsonschema:"minimum=-1e9,maximum=1e9"`
	// Added after scale.
	Offset float64 `json:"offset,omitempty" jsonschema:"minimum=-1e9,maximum=1e9,default=0"`
	// How often it is read.
	Every Duration `json:"every,omitempty"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty"`
}

// RTD is a platinum thermometer by MAX31865 on SPI.
type RTD struct {
	Source string `json:"source" jsonschema:"enum=rtd"`
	// Bus and chip select.
	Bus SPIBus `json:"bus"`
	// The thermometer.
	Sensor string `json:"sensor,omitempty" jsonschema:"enum=pt100,enum=pt1000,default=pt100"`
	// Wires to the thermometer.
	Wires Whole `json:"wires,omitempty" jsonschema:"enum=2,enum=3,enum=4,default=3"`
	// The reference resistor in ohm, as printed on the board.
	RefOhm float64 `json:"ref_ohm,omitempty" jsonschema:"exclusiveMinimum=0,maximum=10000"`
	// Ohm of both leads together, with two wires.
	LeadOhm float64 `json:"lead_ohm,omitempty" jsonschema:"minimum=0,maximum=500"`
	// Mains frequency that the filter takes out.
	MainsHz Whole `json:"mains_hz,omitempty" jsonschema:"enum=50,enum=60,default=50"`
	// How often it is read.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=10s"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty" jsonschema_extras:"default=2s"`
}

// Thermocouple is a thermocouple by MAX31856 on SPI, or its cold junction.
type Thermocouple struct {
	Source string `json:"source" jsonschema:"enum=thermocouple"`
	// Bus and chip select.
	Bus SPIBus `json:"bus"`
	// Type, as on its leads.
	Type string `json:"type,omitempty" jsonschema:"enum=K,enum=J,enum=T,enum=N"`
	// The converter's own temperature instead.
	ColdJunction bool `json:"cold_junction,omitempty" jsonschema:"default=false"`
	// Mains frequency that the filter takes out.
	MainsHz Whole `json:"mains_hz,omitempty" jsonschema:"enum=50,enum=60,default=50"`
	// How often it is read.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=10s"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty" jsonschema_extras:"default=2s"`
}

// OneWire is a DS18B20.
type OneWire struct {
	Source string `json:"source" jsonschema:"enum=onewire"`
	// The bus master.
	Bus OneWireBus `json:"bus,omitempty" jsonschema_extras:"default=1"`
	// The address as in /sys/bus/w1/devices.
	Address string `json:"address" jsonschema:"pattern=^28-[0-9a-fA-F]{12}$"`
	// How often it is read.
	Every Duration `json:"every,omitempty" jsonschema_extras:"default=10s"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty"`
}

// Analog is a transmitter at an input of an ADS1115 on I2C.
type Analog struct {
	Source string `json:"source" jsonschema:"enum=analog"`
	// The I2C bus.
	Bus I2CBus `json:"bus,omitempty" jsonschema_extras:"default=1"`
	// The converter's address.
	Address ChipAddress `json:"address,omitempty" jsonschema_extras:"default=0x48"`
	// The input.
	Input AnalogInput `json:"input"`
	// The signal.
	Signal string `json:"signal" jsonschema:"enum=4-20mA,enum=0-10V"`
	// The shunt that the current flows through.
	ShuntOhm float64 `json:"shunt_ohm,omitempty" jsonschema:"minimum=0.5,maximum=227"`
	// The divider before the input.
	Divider float64 `json:"divider,omitempty" jsonschema:"minimum=2.2,maximum=1000"`
	// The value at 4 mA or 0 V.
	Low float64 `json:"low" jsonschema:"minimum=-1e9,maximum=1e9"`
	// The value at 20 mA or 10 V.
	High float64 `json:"high" jsonschema:"minimum=-1e9,maximum=1e9"`
	// How often it is read.
	Every Duration `json:"every,omitempty"`
	// How long one reading may take.
	Timeout Duration `json:"timeout,omitempty"`
}

// AnalogRun is a number that tells whether the shaft turns.
type AnalogRun struct {
	Analog
	// The value from which on the shaft turns.
	Threshold float64 `json:"threshold" jsonschema:"minimum=-1e9,maximum=1e9"`
	// How far below the threshold it rests again.
	Hysteresis float64 `json:"hysteresis,omitempty" jsonschema:"minimum=0,maximum=1e9,default=0"`
}

// ModbusPlace is where a Modbus device has a value.
type ModbusPlace struct {
	Source string `json:"source" jsonschema:"enum=modbus"`
	// Id of a connection.
	Connection string `json:"connection" jsonschema:"minLength=1,maxLength=32"`
	// The device's address.
	Unit Whole `json:"unit,omitempty" jsonschema:"minimum=0,maximum=255,default=1"`
	// Address from 0: a manual's 40001 is holding 0.
	Address Whole `json:"address" jsonschema:"minimum=0,maximum=65535"`
}

// ModbusCount is a counter of drops.
type ModbusCount struct {
	ModbusPlace
	// Registers; a manual's 4xxxx are holding, 3xxxx input.
	Table string `json:"table" jsonschema:"enum=holding,enum=input"`
	// The number's type.
	Number string `json:"number" jsonschema:"enum=u16,enum=u32"`
	// The low word comes first.
	LowWordFirst bool `json:"low_word_first,omitempty" jsonschema:"default=false"`
}

// ModbusNumber is a temperature.
type ModbusNumber struct {
	ModbusPlace
	// Registers; a manual's 4xxxx are holding, 3xxxx input.
	Table string `json:"table" jsonschema:"enum=holding,enum=input"`
	// The number's type.
	Number string `json:"number" jsonschema:"enum=u16,enum=i16,enum=u32,enum=i32,enum=f32"`
	// The low word comes first.
	LowWordFirst bool `json:"low_word_first,omitempty" jsonschema:"default=false"`
	// Factor to the unit of the point.
	Scale float64 `json:"scale,omitempty" jsonschema:"minimum=-1e9,maximum=1e9,default=1"`
	// Added after scale.
	Offset float64 `json:"offset,omitempty" jsonschema:"minimum=-1e9,maximum=1e9,default=0"`
	// Numbers that the device gives for a fault.
	FaultNumbers []float64 `json:"fault_numbers,omitempty" jsonschema:"minimum=-1e12,maximum=1e12"`
}

// ModbusRun is a number that tells whether the shaft turns.
type ModbusRun struct {
	ModbusNumber
	// The value from which on the shaft turns.
	Threshold float64 `json:"threshold,omitempty" jsonschema:"minimum=-1e9,maximum=1e9"`
	// How far below the threshold it rests again.
	Hysteresis float64 `json:"hysteresis,omitempty" jsonschema:"minimum=0,maximum=1e9,default=0"`
	// 0 means that the shaft turns.
	Inverted bool `json:"inverted,omitempty" jsonschema:"default=false"`
}

// ModbusBit is a bit that tells whether the shaft turns.
type ModbusBit struct {
	ModbusPlace
	// Bits; a manual's 1xxxx are discrete, 0xxxx coil.
	Table string `json:"table" jsonschema:"enum=coil,enum=discrete"`
	// 0 means that the shaft turns.
	Inverted bool `json:"inverted,omitempty" jsonschema:"default=false"`
}

// Shared is another gland's point, for glands on one shaft or with one reference.
type Shared struct {
	Source string `json:"source" jsonschema:"enum=shared"`
	// The point that has the sensor, such as p1-de.run.
	Point string `json:"point" jsonschema:"pattern=^[A-Za-z0-9_-]{1\\,32}\\.(ref|run)$"`
}

// Recording plays one point of a recording.
type Recording struct {
	Source string `json:"source" jsonschema:"enum=recording"`
	// The recording.
	Path Path `json:"path"`
	// 1 = as fast as it was recorded.
	Speed float64 `json:"speed,omitempty" jsonschema:"exclusiveMinimum=0,maximum=100000,default=1"`
	// The point of the recording that is played; its own where none is given.
	Point string `json:"point,omitempty" jsonschema:"pattern=^[A-Za-z0-9_-]{1\\,32}\\.(drip|temp|ref|run)$"`
}

// Simulated is a simulated gland.
type Simulated struct {
	Source string `json:"source" jsonschema:"enum=simulated"`
	// Mean weep, drops per minute.
	DPM float64 `json:"dpm,omitempty" jsonschema:"minimum=0,maximum=1000,default=40"`
	// Regularity of the drops, from 1 (random) to 100 (like a clock).
	Shape float64 `json:"shape,omitempty" jsonschema:"minimum=1,maximum=100,default=3"`
	// The same seed gives the same run.
	Seed Whole `json:"seed,omitempty" jsonschema:"default=1"`
}
