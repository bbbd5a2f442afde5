package analog

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3/i2c"
)

// dial opens the bus.
type dial func() (i2c.Bus, error)

// link is the way to the chip, opened when it is needed and anew after an
// error, so that an adapter that was unplugged comes back by itself.
type link struct {
	dial    dial
	address uint16
	mu      sync.Mutex // held during a transfer, which may hang
	bus     i2c.Bus
}

func (l *link) transfer(w, r []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.bus == nil {
		bus, err := l.dial()
		if err != nil {
			return err
		}
		l.bus = bus
	}
	if err := l.bus.Tx(l.address, w, r); err != nil {
		return errors.Join(fmt.Errorf("transfer with %#x on %s: %w", l.address, l.bus, err), l.drop())
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
	if closer, ok := bus.(i2c.BusCloser); ok {
		return closer.Close()
	}
	return nil
}
