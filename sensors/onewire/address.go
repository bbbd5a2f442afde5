package onewire

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"

	"periph.io/x/conn/v3/onewire"
)

// ParseAddress reads a sensor's address as the kernel names it below
// /sys/bus/w1/devices, e.g. 28-000005e2fdc3, where its checksum is left out.
func ParseAddress(s string) (onewire.Address, error) {
	digits, found := strings.CutPrefix(strings.ToLower(s), "28-")
	serial, err := hex.DecodeString(digits)
	if !found || err != nil || len(serial) != 6 {
		return 0, fmt.Errorf("1-wire address %q; want that of a DS18B20 as in /sys/bus/w1/devices, e.g. 28-000005e2fdc3", s)
	}
	code := []byte{family, serial[5], serial[4], serial[3], serial[2], serial[1], serial[0]}
	code = append(code, onewire.CalcCRC(code))
	return onewire.Address(binary.LittleEndian.Uint64(code)), nil
}

// nameOf is the inverse of ParseAddress.
func nameOf(a onewire.Address) string { return fmt.Sprintf("%02x-%012x", byte(a), uint64(a)<<8>>16) }

func validAddress(a onewire.Address) bool {
	code := binary.LittleEndian.AppendUint64(nil, uint64(a))
	return code[0] == family && onewire.CheckCRC(code)
}
