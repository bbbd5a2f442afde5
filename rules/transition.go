package rules

import (
	"time"

	"weepd/rules/reading"
)

// Condition is what can be wrong with a gland or its sensors.
type Condition uint8

// The conditions, in order of urgency.
const (
	Burning               Condition = iota // rise over its limit, or on its way there with no weep
	Dry                                    // weep below the least that cools and lubricates, shaft turning
	Gushing                                // drops merge into a stream, or weep over the gush limit
	Leaking                                // weep over the most allowed: adjust
	AdjustmentIneffective                  // tightening no longer brings the leak down
	TempSensor                             // temperature or reference not to be believed
	DripSensor                             // drop count not to be believed
	RepackDue                              // the packing will soon be spent
	Conditions                             // how many there are
)

var conditionNames = [Conditions]string{"burning", "dry", "gushing", "leaking", "adjustment-ineffective", "temp-sensor", "drip-sensor", "repack-due"}

// String gives the condition's id in topics, labels and JSON.
func (c Condition) String() string { return conditionNames[c] }

// ParseCondition is the inverse of Condition.String.
func ParseCondition(s string) (Condition, bool) {
	for c, name := range conditionNames {
		if s == name {
			return Condition(c), true
		}
	}
	return 0, false
}

// Priority ranks an alarm.
type Priority uint8

// The priorities.
const (
	Low Priority = iota
	Medium
	High
)

// String gives the priority's id in topics, labels and JSON.
func (p Priority) String() string { return [...]string{"low", "medium", "high"}[p] }

// Priority of a condition: what is lost in minutes is high, what needs a visit
// is medium, what only blinds us or can be planned for weeks is low.
func (c Condition) Priority() Priority {
	switch c {
	case Burning, Dry, Gushing:
		return High
	case Leaking, AdjustmentIneffective:
		return Medium
	default:
		return Low
	}
}

// Transition is a condition of a gland becoming active or cleared, with the
// evidence of that instant. At is steady time (reading.Reading.At).
type Transition struct {
	At        time.Duration
	Gland     string
	Condition Condition
	Active    bool
	Priority  Priority
	Weep      Weep
	Rise      Quantity // °C over the reference
	Message   string   // what happened, for a mechanic; one sentence
}

// Weep is a rate of drops with what is known of it.
type Weep struct {
	DPM, LowDPM, HighDPM float64 // best value and its 95 % limits, drops per minute
	Known                bool    // false: not fitted, faulty or not watched long enough
}

// Quantity is a value that may be unknown.
type Quantity struct {
	Value   float64
	Known   bool
	Quality reading.Quality // why it is not known, where a sensor says so
}

// Alarm is an active condition.
type Alarm struct {
	Condition Condition
	Priority  Priority
	Since     time.Duration // steady time
	Message   string
}

// GlandState is a gland as it stands, for publishers.
type GlandState struct {
	ID      string
	Weep    Weep
	TempC   Quantity
	RiseC   Quantity
	Running Quantity        // 1 turning, 0 at rest; Inferred when it is assumed
	Drops   uint64          // counted since the core was made
	Quality reading.Quality // worst quality of the fitted points
	Alarms  []Alarm         // active, most urgent first

	// The limits in force at present: running in moves them.
	LeakDPM    float64
	RiseLimitC float64
	ToLimitMin Quantity // until the rise reaches its limit at its present growth, minutes; 0: it is there
}
