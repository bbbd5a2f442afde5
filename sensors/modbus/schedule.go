package modbus

import (
	"time"

	"weepd/sensors"
)

// unit is a device on the connection and when it is asked next.
type unit struct {
	id      uint8
	members []int         // indices of the configured registers
	due     time.Duration // on the clock
	wait    time.Duration // until the next poll after the last
}

// longestWait is how rarely a unit that does not answer is asked.
const longestWait = sensors.WatchEvery

// answered puts the next poll in step with the last.
func (u *unit) answered(now, every time.Duration) {
	u.wait = every
	u.due += every
	if u.due <= now {
		u.due = now + every // the line is too slow for so many: no rush
	}
}

// failed asks less and less often.
func (u *unit) failed(now, every time.Duration) {
	longest := max(every, longestWait)
	u.wait = min(max(2*u.wait, every), longest)
	u.due = now + u.wait
}

// next gives the unit that is due first; of equals, the one that has waited
// longest comes first in the list.
func next(units []*unit) *unit {
	first := units[0]
	for _, u := range units[1:] {
		if u.due < first.due {
			first = u
		}
	}
	return first
}

func unitsOf(registers []Register) []*unit {
	var units []*unit
	byID := make(map[uint8]*unit)
	for i, r := range registers {
		u := byID[r.Unit]
		if u == nil {
			u = &unit{id: r.Unit}
			byID[r.Unit] = u
			units = append(units, u)
		}
		u.members = append(u.members, i)
	}
	return units
}
