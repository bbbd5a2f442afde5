package analog

import (
	"fmt"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"

	"weepd/sensors"
)

// Open reads the chip on cfg.Bus, which need not be there yet.
func Open(cfg Config, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	number, err := parseBus(cfg.Bus)
	if err != nil {
		return nil, err
	}
	cfg.Bus = strconv.Itoa(number)
	return newSource(cfg, func() (i2c.Bus, error) {
		bus, err := sysfs.NewI2C(number)
		if err != nil {
			return nil, fmt.Errorf("open /dev/i2c-%d: %w; switch I2C on and check the rights to it", number, err)
		}
		return bus, nil
	}, clock)
}

// parseBus reads 1, I2C1 or /dev/i2c-1.
func parseBus(name string) (int, error) {
	short := strings.TrimPrefix(strings.TrimPrefix(name, "/dev/i2c-"), "I2C")
	number, err := strconv.Atoi(short)
	if err != nil || number < 0 || strconv.Itoa(number) != short {
		return 0, fmt.Errorf("analog: I2C bus %q; want its number such as 1, for /dev/i2c-1", name)
	}
	return number, nil
}
