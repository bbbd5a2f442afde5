package thermocouple

import (
	"io"

	"periph.io/x/conn/v3/spi"

	"weepd/sensors"
)

// dial opens the way to the chip.
type dial = func() (spi.Conn, io.Closer, error)

type link struct{ *sensors.Link[spi.Conn] }

func newLink(d dial) link { return link{sensors.NewLink(d)} }

func (l link) transfer(w, r []byte) error {
	return l.Use(func(c spi.Conn) error { return c.Tx(w, r) })
}
