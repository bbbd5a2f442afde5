package gpio

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"golang.org/x/sys/unix"
)

// eventSize is that of struct gpio_v2_line_event, the same on all processors:
// timestamp_ns (8 bytes), id, offset, seqno, line_seqno (4 each) and 24 bytes
// kept for later (include/uapi/linux/gpio.h).
const eventSize = 48

// decode takes whole events apart. into is used again where it has room.
func decode(into []edge, b []byte) ([]edge, error) {
	into = into[:0]
	if len(b)%eventSize != 0 {
		return nil, fmt.Errorf("%w: %d bytes of events, want a multiple of %d", errGarbled, len(b), eventSize)
	}
	for ; len(b) > 0; b = b[eventSize:] {
		at := binary.NativeEndian.Uint64(b)
		id := binary.NativeEndian.Uint32(b[8:])
		if id != unix.GPIO_V2_LINE_EVENT_RISING_EDGE && id != unix.GPIO_V2_LINE_EVENT_FALLING_EDGE {
			return nil, fmt.Errorf("%w: event with id %d, want 1 (rising) or 2 (falling)", errGarbled, id)
		}
		if at > math.MaxInt64 {
			return nil, fmt.Errorf("%w: event %d ns after the start of the machine", errGarbled, at)
		}
		into = append(into, edge{at: time.Duration(at), seq: binary.NativeEndian.Uint32(b[20:])})
	}
	return into, nil
}
