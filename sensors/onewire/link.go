package onewire

import (
	"encoding/binary"
	"io"

	"periph.io/x/conn/v3/onewire"

	"weepd/sensors"
)

// dial opens the bus.
type dial func() (onewire.Bus, error)

type link struct{ *sensors.Link[onewire.Bus] }

func newLink(d dial) link {
	return link{sensors.NewLink(func() (onewire.Bus, io.Closer, error) {
		bus, err := d()
		closer, _ := bus.(io.Closer)
		return bus, closer, err
	})}
}

const matchROM = 0x55 // data sheet, ROM commands, from memory

// to addresses a command to one sensor.
func to(a onewire.Address, command ...byte) []byte {
	return append(binary.LittleEndian.AppendUint64([]byte{matchROM}, uint64(a)), command...)
}

func (l link) transfer(w, r []byte, power onewire.Pullup) error {
	return l.Use(func(bus onewire.Bus) error { return bus.Tx(w, r, power) })
}
