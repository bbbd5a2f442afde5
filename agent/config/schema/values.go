package schema

// Values that are not plain texts or numbers. What they may be is said beside
// the generator, schema_test.go of agent/config.
type (
	// ID is a station's, gland's or connection's id.
	ID string
	// Duration is a number with a unit, such as 90s, 2m or 1m30s.
	Duration string
	// Path is the path of a file; a relative one starts at the configuration's folder.
	Path string
	// Size is a number of bytes, such as 268435456, 256MiB or 256MB.
	Size string
	// Pin is a line such as GPIO17 or 17, or chip and number such as gpiochip0:17.
	Pin string
	// SPIBus is a bus and chip select such as 0.0, for /dev/spidev0.0.
	SPIBus string
	// I2CBus is the number of a bus such as 1, for /dev/i2c-1.
	I2CBus string
	// OneWireBus is the number of a bus master such as 1, for w1_bus_master1.
	OneWireBus string
	// ChipAddress is 0x48 to 0x4b, as the converter's ADDR pin is wired.
	ChipAddress string
	// AnalogInput is 0 to 3, or 0-1, 0-3, 1-3 or 2-3 for a difference.
	AnalogInput string
	// Whole is a whole number.
	Whole int
)

// OneOf marks a value that has one of the shapes that its fields name.
type OneOf struct{}
