package analog

import (
	"fmt"
	"time"
)

// Registers by the pointer (SBAS563 p. 18, table 6 and 7).
const (
	regConversion = 0x00
	regConfig     = 0x01
)

// Bits of the config register (SBAS444, "Config Register").
const (
	startOrIdle    = 0x8000 // OS: written 1 starts a conversion, read 1 means none is going on
	muxShift       = 12
	gainShift      = 9
	singleShot     = 0x0100
	comparatorOff  = 0x0003
	rate8perSecond = 0x0000 // DR 000 (from memory; the default 100 is 128 a second)
)

// conversion at 8 a second; the rate is good to 10 % (data sheet, from memory).
const (
	conversion = 140 * time.Millisecond
	again      = 10 * time.Millisecond
	looks      = 5
)

// ranges of the amplifier and their codes (SBAS444, "Config Register", PGA).
func ranges() []fullScale {
	return []fullScale{{5, 0.256}, {4, 0.512}, {3, 1.024}, {2, 2.048}, {1, 4.096}, {0, 6.144}}
}

type fullScale struct {
	code uint16
	volt float64 // at code 32768
}

// narrowest gives the range with the finest steps that volt fits in.
func narrowest(volt float64) fullScale {
	all := ranges()
	for _, r := range all {
		if volt < r.volt {
			return r
		}
	}
	return all[len(all)-1]
}

// Input is what the converter measures, by its MUX code.
type Input uint8

const numInputs = 8

// inputs are the MUX codes in words (SBAS444, "Config Register", MUX).
func inputs() [numInputs]string {
	return [numInputs]string{"0-1", "0-3", "1-3", "2-3", "0", "1", "2", "3"}
}

// ParseInput reads 0 to 3 for an input against ground, or 0-1, 0-3, 1-3 or 2-3
// for the difference of two.
func ParseInput(s string) (Input, error) {
	for i, name := range inputs() {
		if s == name {
			return Input(i), nil
		}
	}
	return 0, fmt.Errorf("input %q; want 0 to 3, or 0-1, 0-3, 1-3 or 2-3 for a difference", s)
}

// String gives the word that ParseInput reads.
func (i Input) String() string {
	if i < numInputs {
		return inputs()[i]
	}
	return fmt.Sprintf("input(%d)", uint8(i))
}

func configWord(i Input, r fullScale) uint16 {
	return startOrIdle | uint16(i)<<muxShift | r.code<<gainShift | singleShot | rate8perSecond | comparatorOff
}
