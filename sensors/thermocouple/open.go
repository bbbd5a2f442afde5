package thermocouple

import (
	"fmt"
	"io"
	"strings"

	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3/sysfs"

	"weepd/sensors"
)

// clockRate is slow for the chip's 5 MHz, for the sake of long wires.
const clockRate = 500 * physic.KiloHertz

// Open reads the chip on cfg.Bus, which need not be there yet.
func Open(cfg Config, clock sensors.Clock) (*Source, error) {
	bus, chip, err := parseBus(cfg.Bus)
	if err != nil {
		return nil, err
	}
	cfg.Bus = fmt.Sprintf("%d.%d", bus, chip)
	return newSource(cfg, func() (spi.Conn, io.Closer, error) { return connect(bus, chip) }, clock)
}

func connect(bus, chip int) (spi.Conn, io.Closer, error) {
	port, err := sysfs.NewSPI(bus, chip)
	if err != nil {
		return nil, nil, fmt.Errorf("open /dev/spidev%d.%d: %w; switch SPI on and check the rights to it", bus, chip, err)
	}
	conn, err := port.Connect(clockRate, spi.Mode1, 8)
	if err != nil {
		_ = port.Close() // the first error counts
		return nil, nil, fmt.Errorf("set up /dev/spidev%d.%d: %w", bus, chip, err)
	}
	return conn, port, nil
}

// parseBus reads 0.0, SPI0.0 or /dev/spidev0.0.
func parseBus(name string) (bus, chip int, err error) {
	short := strings.TrimPrefix(strings.TrimPrefix(name, "/dev/spidev"), "SPI")
	if _, err := fmt.Sscanf(short, "%d.%d", &bus, &chip); err != nil || fmt.Sprintf("%d.%d", bus, chip) != short || bus < 0 || chip < 0 {
		return 0, 0, fmt.Errorf("thermocouple: SPI bus %q; want bus and chip select such as 0.0, for /dev/spidev0.0", name)
	}
	return bus, chip, nil
}
