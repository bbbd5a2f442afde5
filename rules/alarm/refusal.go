package alarm

import (
	"fmt"
	"time"
)

// Reason is why an input was refused.
type Reason uint8

// The reasons.
const (
	WrongState      Reason = iota // the figure has no such step from here
	NotAcknowledged               // reset before anybody acknowledged
	StillActive                   // reset while the condition is still true
	NoEnd                         // shelving without an end
	EndPast                       // shelving until a time that is over
	TooLong                       // shelving beyond the longest allowed
	NoName                        // a person's input without a name
	UnknownAlarm                  // no such gland or condition
	UnknownInput                  // no such input
	Reasons                       // how many there are
)

var reasonWords = [Reasons]string{
	"wrong-state", "not-acknowledged", "still-active", "no-end", "end-past",
	"too-long", "no-name", "unknown-alarm", "unknown-input",
}

// String gives the reason's word in replies.
func (r Reason) String() string {
	if r < Reasons {
		return reasonWords[r]
	}
	return fmt.Sprintf("reason(%d)", uint8(r))
}

// Refusal is the error of an input that was refused; the alarm is unchanged
// but for shelves that ended before it.
type Refusal struct {
	Reason Reason
	Input  Kind
	State  State         // the state that refused
	Limit  time.Duration // TooLong: the longest shelf
	Key    Key           // which alarm, when a Book refused
}

var reasonTexts = [Reasons]string{
	NotAcknowledged: "acknowledge it first",
	StillActive:     "its condition is still true",
	NoEnd:           "say when the shelf ends",
	EndPast:         "the shelf's end is not in the future",
	NoName:          "say who does it",
	UnknownAlarm:    "no such alarm; name a configured gland and a condition",
	UnknownInput:    "no such action",
}

// Error says what was refused, why, and what would be right.
func (r *Refusal) Error() string {
	which := ""
	if r.Key != (Key{}) {
		which = r.Key.String() + ": "
	}
	switch {
	case r.Reason == TooLong && r.Limit <= 0:
		return fmt.Sprintf("%s%s refused: this alarm may not be shelved", which, r.Input)
	case r.Reason == TooLong:
		return fmt.Sprintf("%s%s refused: the longest shelf is %s", which, r.Input, r.Limit)
	case r.Reason == WrongState:
		return fmt.Sprintf("%s%s refused: the alarm is %s", which, r.Input, r.stateText())
	case r.Reason < Reasons:
		return fmt.Sprintf("%s%s refused: %s", which, r.Input, reasonTexts[r.Reason])
	}
	return fmt.Sprintf("%s%s refused: %s", which, r.Input, r.Reason)
}

func (r *Refusal) stateText() string {
	if r.State == LatchedAcknowledged {
		return "latched and already acknowledged"
	}
	return r.State.String()
}
