package sensors

// Rise is what became of a rising counter between two readings.
type Rise uint8

// What a counter may have done.
const (
	Rose    Rise = iota // it rose, or stayed, or wrapped around; the rise is known
	WasSet              // it went back: set anew or its device restarted; what it counted meanwhile is lost
	TooFast             // it rose by more than can be
)

// RiseOf gives by how much a counter of so many bits (1 to 64) rose from
// before to now. most is the most that it can have risen in the meantime: it
// tells a counter that wrapped around from one that was set anew, which both
// read less than before. Without it a restart of the device at 3 would be
// 65,533 drops.
//
// A counter set anew within most of its end looks as if it had wrapped; that
// cannot be told apart.
func RiseOf(before, now uint64, bits uint, most uint64) (uint64, Rise) {
	mask := ^uint64(0)
	if bits < 64 {
		mask = 1<<bits - 1
	}
	rise := (now - before) & mask
	switch {
	case rise <= most:
		return rise, Rose
	case now < before:
		return 0, WasSet
	default:
		return 0, TooFast
	}
}
