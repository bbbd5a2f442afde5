package sensors

import (
	"errors"
	"fmt"
	"io"
	"sync"
)

// Link is the way to a device over a bus of kind C, opened when it is needed
// and anew after an error, so that an adapter that was unplugged comes back by
// itself. It is safe for concurrent use.
type Link[C any] struct {
	dial   func() (C, io.Closer, error)
	mu     sync.Mutex // held during a transfer, which may hang
	open   bool
	bus    C
	closer io.Closer
}

// NewLink makes a link that dial opens. The closer may be nil.
func NewLink[C any](dial func() (C, io.Closer, error)) *Link[C] { return &Link[C]{dial: dial} }

// Use hands the open bus to do. After an error of do the bus is given up, and
// opened again with the next Use.
func (l *Link[C]) Use(do func(bus C) error) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.open {
		bus, closer, err := l.dial()
		if err != nil {
			return err
		}
		l.bus, l.closer, l.open = bus, closer, true
	}
	if err := do(l.bus); err != nil {
		return errors.Join(fmt.Errorf("transfer on %v: %w", l.bus, err), l.drop())
	}
	return nil
}

// Close gives the bus up, unless a transfer hangs in it.
func (l *Link[C]) Close() {
	if l.mu.TryLock() {
		defer l.mu.Unlock()
		_ = l.drop() // nobody uses it any more
	}
}

func (l *Link[C]) drop() error {
	closer := l.closer
	var none C
	l.bus, l.closer, l.open = none, nil, false
	if closer == nil {
		return nil
	}
	return closer.Close()
}
