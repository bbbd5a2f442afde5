package file

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
)

// w1Lines are the two lines of w1_slave (Documentation/w1/slaves/w1_therm and
// w1_slave_show in drivers/w1/slaves/w1_therm.c, where t= is in m°C):
//
//	91 01 4b 46 7f ff 0c 10 bf : crc=bf YES
//	91 01 4b 46 7f ff 0c 10 bf t=25062
var w1Lines = regexp.MustCompile(`^((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)\n(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,6})\n?$`)

// powerOn is how the scratchpad of a DS18B20 begins that has measured nothing
// since it got power: 85 °C and 0C hex in its reserved byte 6. A measured
// 85 °C has another byte there (from memory; not all makes keep to it).
var powerOn = []byte("50 05 ")

// parseW1 gives the number after t=, in m°C.
func parseW1(text []byte) (float64, error) {
	parts := w1Lines.FindSubmatch(text)
	switch {
	case parts == nil:
		return 0, fmt.Errorf("%w: %q; want the two lines of w1_slave", errGarbled, text)
	case string(parts[2]) == "NO":
		return 0, fmt.Errorf("%w: wrong checksum: %q", errGarbled, text)
	case allSame(parts[1]):
		return 0, fmt.Errorf("%w: nobody on the bus: %q", errGarbled, text)
	case bytes.HasPrefix(parts[1], powerOn) && string(parts[1][18:20]) == "0c":
		return 0, fmt.Errorf("%w: 85 °C is what it holds after a loss of power", errFault)
	}
	v, err := strconv.Atoi(string(parts[3]))
	if err != nil {
		return 0, fmt.Errorf("%w: %q", errGarbled, text)
	}
	return float64(v), nil
}

// allSame: a bus held low gives nine zeros, whose checksum is right.
func allSame(pad []byte) bool {
	return bytes.Equal(pad, bytes.Repeat(pad[:3], len(pad)/3))
}
