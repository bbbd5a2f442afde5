package rtd

import (
	"errors"
	"math"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/spi"
)

// chip is a MAX31865 as the driver sees it: eight registers that keep what is
// written, a conversion, faults, and ways to be gone.
type chip struct {
	mu     sync.Mutex
	regs   [registers]byte
	ohm    float64
	status byte

	gone  bool // all ones
	fails bool
	hangs bool
	freed chan struct{}
}

func newChip(ohm float64) *chip {
	c := &chip{ohm: ohm, freed: make(chan struct{})}
	c.powerUp()
	return c
}

// powerUp leaves the registers as after power-on (p. 12 to 15; the default of
// the configuration, 00h, from memory).
func (c *chip) powerUp() { c.regs = [registers]byte{3: 0xFF, 4: 0xFF} }

func (c *chip) String() string      { return "chip" }
func (c *chip) Duplex() conn.Duplex { return conn.Full }
func (c *chip) TxPackets([]spi.Packet) error {
	return errors.New("not used")
}

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
	at := int(w[0] & 0x7F)
	for i := 1; i < len(w); i++ {
		switch reg := at + i - 1; {
		case c.gone:
			r[i] = 0xFF
		case w[0]&0x80 == 0:
			r[i] = c.regs[reg]
		case reg == 0:
			c.configure(w[i])
		case reg >= 3 && reg <= 6:
			c.regs[reg] = w[i]
		}
	}
	return nil
}

func (c *chip) configure(v byte) {
	if v&clearFaults != 0 {
		c.regs[7] = 0
	}
	if v&detectFault != 0 {
		c.regs[7] |= c.status
	}
	if v&oneShot != 0 {
		c.convert()
	}
	c.regs[0] = v &^ (clearFaults | detectFault | oneShot)
}

func (c *chip) convert() {
	data := uint16(math.Round(min(c.ohm/430*fullScale, fullScale-1))) << 1
	if data >= uint16(c.regs[3])<<8|uint16(c.regs[4]) {
		c.regs[7] |= faultHigh
	}
	if data <= uint16(c.regs[5])<<8|uint16(c.regs[6]) {
		c.regs[7] |= faultLow
	}
	if c.regs[7] != 0 {
		data |= 1
	}
	c.regs[1], c.regs[2] = byte(data>>8), byte(data)
}

// breaking makes a device of the chip and one way to break it.
type breaking struct {
	*chip
	how func(*chip)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.chip) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gone, b.fails, b.hangs, b.status, b.ohm = false, false, false, 0, 107.79
	close(b.freed)
	b.freed = make(chan struct{})
	b.powerUp() // it was without power
}
