package alarm

import (
	"fmt"
	"time"
)

// Kind is what happens to an alarm.
type Kind uint8

// The inputs. Raise to Unsuppress come from the process and its logic and are
// never refused: repeating one changes nothing. The others are a person's.
const (
	Raise       Kind = iota // the process condition became true
	Clear                   // the process condition became false
	Suppress                // logic sets the alarm aside, e.g. the shaft stopped
	Unsuppress              // logic ends that
	Acknowledge             // a person has seen it
	Reset                   // a person releases a latched alarm
	Shelve                  // a person sets it aside until Until
	Unshelve                // a person ends a shelf early
	Remove                  // a person takes it out of service
	Restore                 // a person puts it back in service
	Kinds                   // how many there are
)

var kindWords = [Kinds]string{
	"raise", "clear", "suppress", "unsuppress", "acknowledge",
	"reset", "shelve", "unshelve", "remove", "restore",
}

// String gives the input's word; for a person's it is the command's action.
func (k Kind) String() string {
	if k < Kinds {
		return kindWords[k]
	}
	return fmt.Sprintf("input(%d)", uint8(k))
}

// ParseKind is the inverse of Kind.String.
func ParseKind(word string) (Kind, bool) {
	for k, w := range kindWords {
		if w == word {
			return Kind(k), true
		}
	}
	return 0, false
}

// ByPerson reports whether a person gives this input, so that it needs a name.
func (k Kind) ByPerson() bool { return k >= Acknowledge && k < Kinds }

// Input is one thing that happens to an alarm.
type Input struct {
	Kind  Kind
	At    time.Duration // steady time; earlier than the alarm's last change counts as then
	By    string        // who, for a person's input
	Until time.Duration // Shelve: steady time at which the shelf ends by itself
	Note  string        // why, in the person's or the rule's words
}

// Policy is what is set for a condition's alarms.
type Policy struct {
	// Latching keeps an alarm after its condition has gone until a person
	// resets it: "remains in alarm state after the process condition has
	// returned to normal and requires an Operator reset", OPC 10000-9 3.1.
	Latching bool
	// LongestShelf is the longest a person may shelve for; 0 or less means
	// that shelving is not allowed.
	LongestShelf time.Duration
}

// Change is one step in an alarm's life. Old and New are the same when only
// what is remembered behind a set-aside alarm changed.
type Change struct {
	At       time.Duration // steady time of the step; a shelf's end is exact
	Old, New State
	Active   bool          // the process condition after the step
	By       string        // who; empty for the process, logic and time
	Until    time.Duration // the shelf's end while New is Shelved
	Note     string
}

// Moved reports whether the state itself changed.
func (c Change) Moved() bool { return c.Old != c.New }
