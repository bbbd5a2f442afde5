package analog

import (
	"errors"
	"sync"

	"periph.io/x/conn/v3/physic"
)

// chip is an ADS1115 as the driver sees it.
type chip struct {
	mu      sync.Mutex
	pointer byte
	config  uint16
	result  int16
	inputs  [8]int16 // by MUX code
	busy    int      // looks until the conversion ends

	absent, gone, low, hangs, deaf, slow bool
	freed                                chan struct{}
}

func newChip() *chip {
	// The config register's reset value (SBAS444, "Config Register").
	return &chip{config: 0x8583, freed: make(chan struct{})}
}

func (c *chip) String() string                  { return "bus" }
func (c *chip) SetSpeed(physic.Frequency) error { return nil }

func (c *chip) Tx(address uint16, w, r []byte) error {
	c.mu.Lock()
	hangs, freed := c.hangs, c.freed
	c.mu.Unlock()
	if hangs {
		<-freed
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.absent || address != 0x48 {
		return errors.New("remote I/O error")
	}
	c.pointer = w[0]
	if len(w) == 3 && c.pointer == regConfig && !c.deaf {
		c.start(uint16(w[1])<<8 | uint16(w[2]))
	}
	if len(r) == 2 {
		v := c.read()
		r[0], r[1] = byte(v>>8), byte(v)
	}
	return nil
}

func (c *chip) start(config uint16) {
	c.config = config &^ startOrIdle
	if config&startOrIdle != 0 {
		c.busy = 1
	}
}

func (c *chip) read() uint16 {
	switch {
	case c.gone:
		return 0xFFFF
	case c.low:
		return 0
	case c.pointer == regConversion:
		return uint16(c.result)
	case c.busy > 0 || c.slow:
		c.busy--
		c.result = c.inputs[c.config>>muxShift&7]
		return c.config
	}
	return c.config | startOrIdle
}

type breaking struct {
	*chip
	how func(*chip)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.chip) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.absent, b.gone, b.low, b.hangs, b.deaf, b.slow = false, false, false, false, false, false
	b.config, b.busy = 0x8583, 0
	b.inputs = warm
	close(b.freed)
	b.freed = make(chan struct{})
}

// warm: 12 mA on input 0, 8 mA on input 1 with 100 Ω.
var warm = [8]int16{4: 9600, 5: 6400}
