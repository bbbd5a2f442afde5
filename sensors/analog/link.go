package analog

import (
	"fmt"
	"io"

	"periph.io/x/conn/v3/i2c"

	"weepd/sensors"
)

// dial opens the bus.
type dial func() (i2c.Bus, error)

// link is the way to one chip on the bus.
type link struct {
	*sensors.Link[i2c.Bus]
	address uint16
}

func newLink(d dial, address uint16) link {
	return link{sensors.NewLink(func() (i2c.Bus, io.Closer, error) {
		bus, err := d()
		closer, _ := bus.(io.Closer)
		return bus, closer, err
	}), address}
}

func (l link) transfer(w, r []byte) error {
	return l.Use(func(bus i2c.Bus) error {
		if err := bus.Tx(l.address, w, r); err != nil {
			return fmt.Errorf("chip %#x: %w", l.address, err)
		}
		return nil
	})
}
