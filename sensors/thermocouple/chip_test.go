package thermocouple

import (
	"errors"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/spi"
)

// chip is a MAX31856 as the driver sees it.
type chip struct {
	mu     sync.Mutex
	regs   answer
	hot    [3]byte
	cold   [2]byte
	status byte

	gone, fails, hangs, deaf bool
	freed                    chan struct{}
}

func newChip() *chip {
	c := &chip{hot: [3]byte{0x06, 0x4F, 0}, cold: [2]byte{0x19, 0}, freed: make(chan struct{})}
	c.powerUp()
	return c
}

// powerUp leaves the registers as after power-on (data sheet, table 6, from memory).
func (c *chip) powerUp() {
	c.regs = answer{1: 0x03, 2: 0xFF, 3: 0x7F, 4: 0xC0, 5: 0x7F, 6: 0xFF, 7: 0x80}
}

func (c *chip) String() string               { return "chip" }
func (c *chip) Duplex() conn.Duplex          { return conn.Full }
func (c *chip) TxPackets([]spi.Packet) error { return errors.New("not used") }

func (c *chip) Tx(w, r []byte) error {
	c.mu.Lock()
	hangs, freed := c.hangs, c.freed
	c.mu.Unlock()
	if hangs {
		<-freed
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fails {
		return errors.New("input/output error")
	}
	for i := 1; i < len(w); i++ {
		reg := int(w[0]&0x7F) + i - 1
		switch {
		case c.gone:
			r[i] = 0xFF
		case w[0]&0x80 == 0:
			r[i] = c.read(reg)
		case reg < settings && !c.deaf:
			c.regs[reg] = w[i]
		}
	}
	return nil
}

func (c *chip) read(reg int) byte {
	if c.regs[0]&autoConvert != 0 {
		copy(c.regs[regCJTH:], c.cold[:])
		copy(c.regs[regLTCB:], c.hot[:])
		c.regs[regSR] = c.status
	}
	return c.regs[reg]
}

type breaking struct {
	*chip
	how func(*chip)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.chip) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gone, b.fails, b.hangs, b.deaf, b.status = false, false, false, false, 0
	close(b.freed)
	b.freed = make(chan struct{})
	b.powerUp() // it was without power
}
