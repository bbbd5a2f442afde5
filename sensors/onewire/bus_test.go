package onewire

import (
	"bytes"
	"encoding/binary"
	"errors"
	"sync"

	"periph.io/x/conn/v3/onewire"
)

// bus is a 1-wire bus with DS18B20s as the driver sees it.
type bus struct {
	mu      sync.Mutex
	sensors map[onewire.Address]*thermometer

	gone, shorted, fails, hangs, weak bool
	freed                             chan struct{}
}

type thermometer struct {
	pad    scratchpad
	eeprom [3]byte
	raw    uint16
}

func newBus(addresses ...onewire.Address) *bus {
	b := &bus{sensors: make(map[onewire.Address]*thermometer), freed: make(chan struct{})}
	for i, a := range addresses {
		b.sensors[a] = &thermometer{eeprom: [3]byte{0x4B, 0x46, twelveBits}, raw: 0x0191 + uint16(i)*16}
		b.sensors[a].powerUp()
	}
	return b
}

// powerUp leaves 85 °C and what the EEPROM holds.
func (t *thermometer) powerUp() { t.pad = pad(powerOnRaw, t.eeprom, powerOnByte) }

type busError string

func (e busError) Error() string   { return string(e) }
func (e busError) NoDevices() bool { return e == "no presence" }
func (e busError) IsShorted() bool { return e == "shorted" }

func (b *bus) String() string                         { return "bus" }
func (b *bus) Search(bool) ([]onewire.Address, error) { return nil, errors.New("not used") }
func (b *bus) Tx(w, r []byte, power onewire.Pullup) error {
	b.mu.Lock()
	hangs, freed := b.hangs, b.freed
	b.mu.Unlock()
	if hangs {
		<-freed
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.fails:
		return errors.New("input/output error")
	case b.shorted:
		return busError("shorted")
	case b.gone:
		return busError("no presence")
	case w[0] == skipROM:
		b.convert(w[1], power)
		return nil
	}
	for i := range r {
		r[i] = 0xFF // nobody pulls the line
	}
	if t := b.sensors[onewire.Address(binary.LittleEndian.Uint64(w[1:]))]; t != nil && w[0] == matchROM {
		t.command(w[9:], r)
	}
	return nil
}

func (b *bus) convert(command byte, power onewire.Pullup) {
	for _, t := range b.sensors {
		if b.weak {
			t.powerUp() // the conversion's current resets it
		} else if command == convert && power == onewire.StrongPullup {
			t.pad = pad(t.raw, t.pad.user(), 0x10-byte(t.raw&0x0F))
		}
	}
}

func (t *thermometer) command(w, r []byte) {
	switch w[0] {
	case recallEEPROM:
		t.pad = pad(uint16(t.pad.raw()), t.eeprom, t.pad[6])
	case writeScratchpad:
		t.pad = pad(uint16(t.pad.raw()), [3]byte(bytes.Clone(w[1:4])), t.pad[6])
	case readScratchpad:
		copy(r, t.pad[:])
	}
}

type breaking struct {
	*bus
	how func(*bus)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.bus) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gone, b.shorted, b.fails, b.hangs, b.weak = false, false, false, false, false
	close(b.freed)
	b.freed = make(chan struct{})
	for _, t := range b.sensors {
		t.powerUp()
	}
}
