package alarm

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// record is an Alarm's JSON; its keys and words are stored and must not change.
type record struct {
	State        string        `json:"state"`
	Acknowledged bool          `json:"acknowledged"`
	Active       bool          `json:"active"`
	SinceNS      time.Duration `json:"since_ns"`
	UntilNS      time.Duration `json:"until_ns,omitempty"`
	By           string        `json:"by,omitempty"`
	Note         string        `json:"note,omitempty"`
	SuppressHeld bool          `json:"suppress_held,omitempty"`
	LatchHeld    bool          `json:"latch_held,omitempty"`
}

// MarshalJSON writes the state's word with `acknowledged` beside it.
func (a Alarm) MarshalJSON() ([]byte, error) {
	return json.Marshal(record{
		State: a.State.String(), Acknowledged: a.State.Acked(), Active: a.Active,
		SinceNS: a.Since, UntilNS: a.Until, By: a.By, Note: a.Note,
		SuppressHeld: a.SuppressHeld, LatchHeld: a.LatchHeld,
	})
}

// UnmarshalJSON refuses what no alarm can be, leaving a unchanged.
func (a *Alarm) UnmarshalJSON(data []byte) error {
	var r record
	if err := json.Unmarshal(data, &r); err != nil {
		return fmt.Errorf("alarm record: %w", err)
	}
	state, err := ParseState(r.State, r.Acknowledged)
	if err != nil {
		return fmt.Errorf("alarm record: %w", err)
	}
	read := Alarm{
		State: state, Active: r.Active, Since: r.SinceNS, Until: r.UntilNS, By: r.By, Note: r.Note,
		SuppressHeld: r.SuppressHeld, LatchHeld: r.LatchHeld,
	}
	if err := read.check(r.Acknowledged); err != nil {
		return fmt.Errorf("alarm record, state %s: %w", r.State, err)
	}
	*a = read
	return nil
}

// check holds what is true of every alarm.
func (a *Alarm) check(acked bool) error {
	var errs []error
	if acked != a.State.Acked() {
		errs = append(errs, fmt.Errorf("acknowledged is %v", acked))
	}
	if !a.State.SetAside() {
		if on := a.State == Unacknowledged || a.State == Acknowledged; on != a.Active {
			errs = append(errs, fmt.Errorf("active is %v", a.Active))
		}
	}
	if (a.State == Shelved) != (a.Until != 0) {
		errs = append(errs, fmt.Errorf("until_ns is %d: a shelf has an end and nothing else has", int64(a.Until)))
	}
	if a.SuppressHeld && a.State != Shelved && a.State != OutOfService {
		errs = append(errs, errors.New("suppress_held belongs to shelved and out-of-service only"))
	}
	if a.LatchHeld && !a.State.SetAside() {
		errs = append(errs, errors.New("latch_held belongs to alarms set aside only"))
	}
	return errors.Join(errs...)
}
