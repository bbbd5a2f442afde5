package modbus

import (
	"errors"
	"fmt"
	"io"
	"log"
	"strings"

	wire "github.com/simonvetter/modbus"

	"weepd/sensors"
)

// client is what is used of the library's.
type client interface {
	Open() error
	Close() error
	SetUnitId(id uint8) error
	ReadRawBytes(addr, quantity uint16, regType wire.RegType) ([]byte, error)
	ReadCoils(addr, quantity uint16) ([]bool, error)
	ReadDiscreteInputs(addr, quantity uint16) ([]bool, error)
}

// dial makes a client, which is not open yet.
type dial func() (client, error)

func (c Config) dial() (client, error) {
	parities := map[string]uint{"none": wire.PARITY_NONE, "even": wire.PARITY_EVEN, "odd": wire.PARITY_ODD}
	made, err := wire.NewClient(&wire.ClientConfiguration{
		URL: c.URL, Timeout: c.Timeout,
		Speed: uint(c.Baud), DataBits: 8, Parity: parities[c.Parity], StopBits: uint(c.StopBits),
		Logger: log.New(io.Discard, "", 0), // it would write to the standard output
	})
	if err != nil {
		return nil, fmt.Errorf("modbus %s: %w", c.URL, err)
	}
	return made, nil
}

// connection belongs to the goroutine that talks; it may hang.
type connection struct {
	cfg    Config
	dial   dial
	client client
	blocks map[uint8][]block
}

// item is what came of one register.
type item struct {
	bytes  []byte
	bit    bool
	failed *sensors.Finding
}

// answer is what came of one poll of a unit.
type answer struct {
	items        map[int]item // by index of the configured registers
	silent       bool         // the unit did not answer
	disconnected bool         // there is no connection to any unit
}

// poll reads all blocks of a unit, up to the first failure of the way to it.
func (c *connection) poll(unit uint8) answer {
	a := answer{items: make(map[int]item)}
	if err := c.open(); err != nil {
		a.silent, a.disconnected = true, true
		c.fail(&a, c.blocks[unit], err)
		return a
	}
	var err error
	var parts []block // what the blocks have become
	for i, b := range c.blocks[unit] {
		var read []block
		if read, err = c.block(&a, unit, b); err != nil && !isException(err) {
			c.fail(&a, c.blocks[unit][i:], err)
			a.silent = true
			c.close()
			return a
		}
		a.silent = a.silent || lacksUnit(err)
		parts = append(parts, read...)
	}
	c.blocks[unit] = parts
	return a
}

// lacksUnit: the gateway answered in place of the unit.
func lacksUnit(err error) bool {
	return errors.Is(err, wire.ErrGWPathUnavailable) || errors.Is(err, wire.ErrGWTargetFailedToRespond)
}

func (c *connection) open() error {
	if c.client != nil {
		return nil
	}
	made, err := c.dial()
	if err != nil {
		return err
	}
	if err := made.Open(); err != nil {
		return err
	}
	c.client = made
	return nil
}

func (c *connection) close() {
	if c.client != nil {
		_ = c.client.Close() // whatever it says, a new one comes
		c.client = nil
	}
}

func (c *connection) fail(a *answer, blocks []block, err error) {
	f := findingOf(err, c.cfg.Timeout)
	for _, b := range blocks {
		for _, i := range b.members {
			a.items[i] = item{failed: &f}
		}
	}
}

// block reads one block. One that the device refuses since something in it does
// not exist is read in parts, now and from then on.
func (c *connection) block(a *answer, unit uint8, b block) ([]block, error) {
	err := c.request(a, unit, b)
	if err == nil {
		return []block{b}, nil
	}
	if !errors.Is(err, wire.ErrIllegalDataAddress) || len(b.members) == 1 {
		if isException(err) {
			c.fail(a, []block{b}, err)
		}
		return []block{b}, err
	}
	parts := b.split(c.cfg.Registers)
	for _, part := range parts {
		if _, err := c.block(a, unit, part); err != nil && !isException(err) {
			return []block{b}, err
		}
	}
	return parts, nil
}

func (c *connection) request(a *answer, unit uint8, b block) error {
	if err := c.client.SetUnitId(unit); err != nil {
		return err
	}
	first, size := uint16(b.first), uint16(b.size)
	var data []byte
	var flags []bool
	var err error
	switch b.table {
	case Holding:
		data, err = c.client.ReadRawBytes(first, 2*size, wire.HOLDING_REGISTER)
	case Input:
		data, err = c.client.ReadRawBytes(first, 2*size, wire.INPUT_REGISTER)
	case Coil:
		flags, err = c.client.ReadCoils(first, size)
	default:
		flags, err = c.client.ReadDiscreteInputs(first, size)
	}
	if err != nil {
		return err
	}
	return c.share(a, b, data, flags)
}

// share gives each register of the block its part.
func (c *connection) share(a *answer, b block, data []byte, flags []bool) error {
	if b.table.bits() && len(flags) != b.size || !b.table.bits() && len(data) != 2*b.size {
		return fmt.Errorf("%w: %d bytes, %d bits for %s", wire.ErrShortFrame, len(data), len(flags), b)
	}
	for _, i := range b.members {
		r := c.cfg.Registers[i]
		at := int(r.Address) - b.first
		if b.table.bits() {
			a.items[i] = item{bit: flags[at]}
		} else {
			a.items[i] = item{bytes: data[2*at : 2*(at+r.size())]}
		}
	}
	return nil
}

// name is the connection's, without what is not told in logs.
func (c Config) name() string { return strings.TrimPrefix(c.URL, "rtu://") }
