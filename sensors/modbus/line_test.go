package modbus

import (
	"sync"
	"syscall"
	"time"

	wire "github.com/simonvetter/modbus"
)

// line is a connection with units as the driver sees it, in fake time.
type line struct {
	mu      sync.Mutex
	units   map[uint8]*device
	timeout time.Duration

	refused, hangs bool
	freed          chan struct{}
	closed         int
	absent         int // requests to units that are not there
}

// device holds 200 registers of each table.
type device struct {
	registers [200]uint16
	flags     [200]bool
	asked     int
	refusals  int
	err       error           // instead of an answer
	none      map[uint16]bool // registers that do not exist
	short     bool
}

func newLine(ids ...uint8) *line {
	l := &line{units: make(map[uint8]*device), timeout: timeoutRTU, freed: make(chan struct{})}
	for _, id := range ids {
		l.units[id] = &device{none: make(map[uint16]bool)}
	}
	return l
}

func (l *line) dial() (client, error) { return &lineClient{line: l}, nil }

// setAll makes every unit answer err.
func (l *line) setAll(err error) {
	for _, d := range l.units {
		d.err = err
	}
}

type lineClient struct {
	*line
	unit uint8
}

func (c *lineClient) Open() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.refused {
		return syscall.ECONNREFUSED
	}
	return nil
}

func (c *lineClient) Close() error { c.mu.Lock(); defer c.mu.Unlock(); c.closed++; return nil }

// SetUnitId has its name from the library.
//
//nolint:revive // as above
func (c *lineClient) SetUnitId(id uint8) error { c.unit = id; return nil }

func (c *lineClient) ask(addr, size uint16) (*device, error) {
	c.mu.Lock()
	hangs, freed := c.hangs, c.freed
	c.mu.Unlock()
	if hangs {
		<-freed
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	d := c.units[c.unit]
	if d == nil {
		c.absent++
		c.mu.Unlock()
		time.Sleep(c.timeout)
		c.mu.Lock()
		return nil, wire.ErrRequestTimedOut
	}
	d.asked++
	if d.err != nil {
		return nil, d.err
	}
	for i := range size {
		if d.none[addr+i] {
			d.refusals++
			return nil, wire.ErrIllegalDataAddress
		}
	}
	return d, nil
}

func (c *lineClient) ReadRawBytes(addr, quantity uint16, _ wire.RegType) (b []byte, err error) {
	d, err := c.ask(addr, quantity/2)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range d.registers[addr : addr+quantity/2] {
		b = append(b, byte(r>>8), byte(r))
	}
	if d.short {
		b = b[1:]
	}
	return b, nil
}

func (c *lineClient) ReadCoils(addr, quantity uint16) ([]bool, error) {
	d, err := c.ask(addr, quantity)
	if err != nil {
		return nil, err
	}
	return d.flags[addr : addr+quantity], nil
}

func (c *lineClient) ReadDiscreteInputs(addr, quantity uint16) ([]bool, error) {
	return c.ReadCoils(addr, quantity)
}

type breaking struct {
	*line
	how func(*line)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.line) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.refused, b.hangs = false, false
	for _, d := range b.units {
		d.err, d.short = nil, false
		d.registers[20], d.registers[21] = 0, 0 // it restarted
	}
	close(b.freed)
	b.freed = make(chan struct{})
}
