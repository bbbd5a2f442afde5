package modbus

import (
	"fmt"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// mostPerSecond is more than can fall: a thin tube gives at most about 24 drops
// a second before it jets (Clanet & Lasheras 1999, computed for 2 to 6 mm), each
// perhaps with a splash or two.
const mostPerSecond = 100

// drops makes drops of a counter in a device.
type drops struct {
	bits   uint
	known  bool
	before uint64
	at     time.Duration // of the last reading
}

// take gives the drops since the last reading. The first shows none: what fell
// before is not known. After more than sensors.WatchEvery without one, what fell
// meanwhile cannot be given a time, so it is lost rather than a gush.
func (d *drops) take(at time.Duration, now uint64) sensors.Finding {
	known, before, passed := d.known, d.before, at-d.at
	d.known, d.before, d.at = true, now, at
	f := sensors.Finding{Raw: fmt.Sprintf("count %d", now)}
	if !known {
		return f
	}
	if passed > sensors.WatchEvery {
		return bad(reading.Lost, f.Raw, fmt.Sprintf("the counter was not read for %s: what fell meanwhile has no time", passed.Round(time.Second)))
	}
	n, became := sensors.RiseOf(before, now, d.bits, 2+uint64(passed.Seconds()*mostPerSecond))
	switch became {
	case sensors.WasSet:
		return bad(reading.Lost, f.Raw, fmt.Sprintf("the counter went back from %d: it was set anew, or its device restarted", before))
	case sensors.TooFast:
		return bad(reading.Storm, f.Raw, fmt.Sprintf("the counter leapt from %d: faster than drops can fall; bounce or interference", before))
	default:
		f.Value = float64(n)
		return f
	}
}
