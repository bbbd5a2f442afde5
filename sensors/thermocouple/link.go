package thermocouple

import (
	"errors"
	"fmt"
	"io"
	"sync"

	"periph.io/x/conn/v3/spi"
)

// dial opens the way to the chip.
type dial func() (spi.Conn, io.Closer, error)

// link is the way to the chip, opened when it is needed and anew after an
// error, so that an adapter that was unplugged comes back by itself.
type link struct {
	dial   dial
	mu     sync.Mutex // held during a transfer, which may hang
	conn   spi.Conn
	closer io.Closer
}

func (l *link) transfer(w, r []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn == nil {
		conn, closer, err := l.dial()
		if err != nil {
			return err
		}
		l.conn, l.closer = conn, closer
	}
	if err := l.conn.Tx(w, r); err != nil {
		return errors.Join(fmt.Errorf("transfer on %s: %w", l.conn, err), l.drop())
	}
	return nil
}

// close gives the way up, unless a transfer hangs in it.
func (l *link) close() {
	if l.mu.TryLock() {
		defer l.mu.Unlock()
		_ = l.drop() // nobody uses it any more
	}
}

func (l *link) drop() error {
	closer := l.closer
	l.conn, l.closer = nil, nil
	if closer == nil {
		return nil
	}
	return closer.Close()
}
