package upkeep

import "time"

// Kind says what an entry is about.
type Kind string

// The kinds.
const (
	Adjusted      Kind = "adjusted"       // the gland nuts were turned
	Repacked      Kind = "repacked"       // new packing
	SleeveChanged Kind = "sleeve-changed" // a new shaft sleeve
	ShaftChanged  Kind = "shaft-changed"  // a new shaft
	SensorCleaned Kind = "sensor-cleaned" // the drip sensor
	Counted       Kind = "counted"        // drops counted by hand
	FlushChanged  Kind = "flush-changed"  // flush water set to another pressure or flow
	Corrected     Kind = "corrected"      // an earlier entry, or an offer, put right
	// Noticed is written by weepd itself: a step in the weep, offered as
	// "adjusted?". Nobody can record it.
	Noticed Kind = "noticed"
)

// Entry is one thing that was done at a gland.
type Entry struct {
	Seq  uint64        // of its event
	At   time.Duration // when it was done, steady time
	Kind Kind
	By   string
	Note string
	Value
	Void      bool   // a later correction took it back
	Corrected uint64 // seq of the newest correction; 0: none
}

// Value is what belongs to the kinds; what was not given is zero.
type Value struct {
	Flats    float64    // adjusted: flats of the nut, below 0 slackened
	Step     uint64     // adjusted: seq of the offered step that this was; 0: none
	Packing  string     // repacked: its name
	Rings    int        // repacked
	Drops    int        // counted
	Minutes  float64    // counted
	FlushBar *float64   // flush-changed: gauge pressure
	Of       uint64     // corrected: seq of the entry
	New      *Value     // corrected: its right value
	Void     bool       // corrected: it never happened
	WorkAt   *time.Time // when it was done, by the wall clock, where not when it was recorded
	Before   float64    // noticed: drops per minute
	After    float64    // noticed
}
