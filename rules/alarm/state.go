// Package alarm is the life cycle of alarms after IEC 62682 / ANSI/ISA-18.2:
// one Alarm for a condition of a gland, and a Book that keeps a station's.
//
// It is pure: time comes in with the inputs, nothing is read or started, and
// the same inputs give the same changes. On-delay, off-delay and deadband are
// not here (OPC 10000-9 B.1.5 names them): whoever says "active" has applied
// them already.
//
// The state letters A to I, and which states each leads to, are those of the
// standard's state transition figure, given from memory. What OPC 10000-9
// (which maps the standard's states in its annex E.3) says is cited where used.
package alarm

import (
	"fmt"
)

// State is where an alarm stands in its life.
type State uint8

// The states of IEC 62682 / ISA-18.2 with the letters of its figure (letters
// from memory).
const (
	Normal                 State = iota // A: nothing wrong, nothing to acknowledge
	Unacknowledged                      // B: condition true, nobody has acknowledged
	Acknowledged                        // C: condition true, somebody knows
	ReturnedUnacknowledged              // D: came and went, nobody has acknowledged
	LatchedUnacknowledged               // E: went, held until acknowledged and reset
	LatchedAcknowledged                 // F: went, acknowledged, held until reset
	Shelved                             // G: set aside by an operator until a stated time
	Suppressed                          // H: set aside by logic (by design), e.g. shaft at rest
	OutOfService                        // I: set aside for maintenance until a person ends it
	States                              // how many there are
)

// Both latched states share the word; Acked tells them apart beside it.
var stateWords = [States]string{
	"normal", "unacknowledged", "acknowledged", "returned-unacknowledged",
	"latched", "latched", "shelved", "suppressed", "out-of-service",
}

// String gives the state's word in topics, JSON and on the page. Both latched
// states are `latched`: see Acked.
func (s State) String() string {
	if s < States {
		return stateWords[s]
	}
	return fmt.Sprintf("state(%d)", uint8(s))
}

// Letter gives the state's letter in the standard's figure, "A" to "I".
func (s State) Letter() string {
	if s < States {
		return string(rune('A' + s))
	}
	return "?"
}

// Acked reports whether somebody has acknowledged what is annunciated.
func (s State) Acked() bool { return s == Acknowledged || s == LatchedAcknowledged }

// SetAside reports whether the alarm is kept from the operator: shelved,
// suppressed or out of service.
func (s State) SetAside() bool { return s == Shelved || s == Suppressed || s == OutOfService }

// Annunciated reports whether the alarm is on the operator's list.
func (s State) Annunciated() bool { return s != Normal && !s.SetAside() }

// ParseState is the inverse of State.String; acked chooses between the two
// latched states and is ignored for the others.
func ParseState(word string, acked bool) (State, error) {
	if word == stateWords[LatchedAcknowledged] && acked {
		return LatchedAcknowledged, nil
	}
	for s, w := range stateWords {
		if w == word {
			return State(s), nil
		}
	}
	return 0, fmt.Errorf("alarm state %q: want normal, unacknowledged, acknowledged, "+
		"returned-unacknowledged, latched, shelved, suppressed or out-of-service", word)
}
