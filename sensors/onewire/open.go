package onewire

import (
	"fmt"
	"strconv"

	"periph.io/x/conn/v3/onewire"
	"periph.io/x/host/v3/netlink"

	"weepd/sensors"
)

// Open reads the kernel's bus master cfg.Bus, which need not be there yet. It
// needs the kernel's w1 driver and the right to its netlink interface
// (CAP_NET_ADMIN).
func Open(cfg Config, clock sensors.Clock) (*Source, error) {
	cfg = cfg.withDefaults()
	master, err := strconv.ParseUint(cfg.Bus, 10, 31)
	if err != nil {
		return nil, fmt.Errorf("1-wire bus %q; want the number of a bus master, 1 for /sys/bus/w1/devices/w1_bus_master1", cfg.Bus)
	}
	return newSource(cfg, func() (onewire.Bus, error) {
		bus, err := netlink.New(uint32(master))
		if err != nil {
			return nil, fmt.Errorf("open 1-wire bus master %d: %w; load the w1 driver and check the rights to netlink", master, err)
		}
		return bus, nil
	}, clock)
}
