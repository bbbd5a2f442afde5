package onewire

import (
	"encoding/binary"
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3/onewire"
)

// dial opens the bus.
type dial func() (onewire.Bus, error)

// link is the bus, opened when it is needed and anew after an error.
type link struct {
	dial dial
	mu   sync.Mutex // held during a transfer, which may hang
	bus  onewire.Bus
}

const matchROM = 0x55 // data sheet, ROM commands, from memory

// to addresses a command to one sensor.
func to(a onewire.Address, command ...byte) []byte {
	return append(binary.LittleEndian.AppendUint64([]byte{matchROM}, uint64(a)), command...)
}

func (l *link) transfer(w, r []byte, power onewire.Pullup) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.bus == nil {
		bus, err := l.dial()
		if err != nil {
			return err
		}
		l.bus = bus
	}
	if err := l.bus.Tx(w, r, power); err != nil {
		return errors.Join(fmt.Errorf("transfer on %s: %w", l.bus, err), l.drop())
	}
	return nil
}

// close gives the bus up, unless a transfer hangs in it.
func (l *link) close() {
	if l.mu.TryLock() {
		defer l.mu.Unlock()
		_ = l.drop() // nobody uses it any more
	}
}

func (l *link) drop() error {
	bus := l.bus
	l.bus = nil
	if closer, ok := bus.(onewire.BusCloser); ok {
		return closer.Close()
	}
	return nil
}
