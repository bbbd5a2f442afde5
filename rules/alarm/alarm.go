package alarm

import "time"

// Alarm is one alarm's whole state; its zero value is a normal alarm. It holds
// all that must survive a restart and is stored as JSON.
//
// How it reads the standard's figure (from memory):
//
//   - A new true condition always annunciates afresh: from returned (D) and
//     from latched (E, F) it goes to unacknowledged (B), acknowledged before
//     or not.
//   - A condition that goes is not forgotten: unacknowledged (B) becomes
//     returned-unacknowledged (D), and only an acknowledgement leads to normal.
//   - A latching condition that goes leads to E or F instead of D or A. Reset
//     leads from F to A only: OPC 10000-9 5.8.5, Bad_InvalidState, refuses it
//     while the alarm is active or still requires acknowledgement.
//   - Shelved (G), suppressed (H) and out of service (I) are entered from any
//     of A to F. When they end, a condition that is true then annunciates
//     again as unacknowledged (B); else the alarm is normal (A).
//
// Where the figure is silent:
//
//   - G, H and I may hold together (OPC 10000-9 5.8.2 keeps a state for each).
//     What a person set is shown before what logic set: suppression is
//     remembered behind a shelf or a removal and shown when that ends. Taking
//     out of service also works from G and H, since people work on stopped
//     pumps; it ends the shelf. Logic never ends what a person set.
//   - A latch that was on when the alarm was set aside comes back (E):
//     shelving is no way round the reset.
type Alarm struct {
	State  State
	Active bool          // the process condition
	Since  time.Duration // steady time at which State was entered
	Until  time.Duration // Shelved: steady time at which it ends
	By     string        // who brought about State; empty for process, logic, time
	Note   string        // why

	SuppressHeld bool // logic wants it suppressed, behind a shelf or a removal
	LatchHeld    bool // a latch was on when it was set aside
}

// Next says when the alarm wants Advance: at its shelf's end.
func (a *Alarm) Next() (at time.Duration, ok bool) {
	return a.Until, a.State == Shelved
}

// Advance lets time pass to at. A shelf that ends by then ends at its exact
// time, whenever Advance is called.
func (a *Alarm) Advance(at time.Duration) []Change {
	if a.State != Shelved || at < a.Until {
		return nil
	}
	return []Change{a.move(Input{At: a.Until, Note: "the shelf ended"}, a.back())}
}

// Apply takes one input. It gives the changes in order (a shelf that ended
// before the input comes first) and, as a *Refusal, why the input was not
// taken; an input that alters nothing gives neither.
func (a *Alarm) Apply(p Policy, in Input) ([]Change, error) {
	in.At = max(in.At, a.Since)
	changes := a.Advance(in.At)
	if in.Kind.ByPerson() && in.By == "" {
		return changes, a.refuse(NoName, in.Kind)
	}
	before := *a
	target, err := a.step(p, in)
	if err != nil {
		return changes, err
	}
	if target != before.State {
		return append(changes, a.move(in, target)), nil
	}
	if *a != before {
		return append(changes, a.remember(in)), nil
	}
	return changes, nil
}

// step takes in what is remembered and says which state follows.
func (a *Alarm) step(p Policy, in Input) (State, error) {
	switch in.Kind {
	case Raise:
		return a.raise(), nil
	case Clear:
		return a.clear(p), nil
	case Suppress:
		return a.suppress(p), nil
	case Unsuppress:
		return a.unsuppress(), nil
	case Acknowledge:
		return a.acknowledge()
	case Reset:
		return a.reset()
	case Shelve:
		return a.shelve(p, in)
	case Unshelve:
		return a.end(Shelved, Unshelve)
	case Remove:
		return a.remove(p)
	case Restore:
		return a.end(OutOfService, Restore)
	default:
		return a.State, a.refuse(UnknownInput, in.Kind)
	}
}

func (a *Alarm) raise() State {
	a.Active = true
	switch a.State {
	case Normal, ReturnedUnacknowledged, LatchedUnacknowledged, LatchedAcknowledged:
		return Unacknowledged
	default:
		return a.State
	}
}

func (a *Alarm) clear(p Policy) State {
	a.Active = false
	switch {
	case a.State == Unacknowledged && p.Latching:
		return LatchedUnacknowledged
	case a.State == Unacknowledged:
		return ReturnedUnacknowledged
	case a.State == Acknowledged && p.Latching:
		return LatchedAcknowledged
	case a.State == Acknowledged:
		return Normal
	}
	return a.State
}

func (a *Alarm) suppress(p Policy) State {
	if a.State == Shelved || a.State == OutOfService {
		a.SuppressHeld = true
		return a.State
	}
	a.holdLatch(p)
	return Suppressed
}

func (a *Alarm) unsuppress() State {
	a.SuppressHeld = false
	if a.State == Suppressed {
		return a.back()
	}
	return a.State
}

func (a *Alarm) acknowledge() (State, error) {
	switch a.State {
	case Unacknowledged:
		return Acknowledged, nil
	case ReturnedUnacknowledged:
		return Normal, nil
	case LatchedUnacknowledged:
		return LatchedAcknowledged, nil
	default:
		return a.State, a.refuse(WrongState, Acknowledge)
	}
}

func (a *Alarm) reset() (State, error) {
	switch a.State {
	case LatchedAcknowledged:
		return Normal, nil
	case LatchedUnacknowledged:
		return a.State, a.refuse(NotAcknowledged, Reset)
	case Unacknowledged, Acknowledged:
		return a.State, a.refuse(StillActive, Reset)
	default:
		return a.State, a.refuse(WrongState, Reset)
	}
}

// shelve refuses a second shelf: OPC 10000-9 5.8.17 leaves that to the system,
// and a shelf that is prolonged bit by bit has no longest.
func (a *Alarm) shelve(p Policy, in Input) (State, error) {
	switch {
	case a.State.SetAside():
		return a.State, a.refuse(WrongState, Shelve)
	case in.Until == 0:
		return a.State, a.refuse(NoEnd, Shelve)
	case in.Until <= in.At:
		return a.State, a.refuse(EndPast, Shelve)
	case in.Until-in.At > p.LongestShelf:
		return a.State, &Refusal{Reason: TooLong, Input: Shelve, State: a.State, Limit: max(0, p.LongestShelf)}
	}
	a.holdLatch(p)
	return Shelved, nil
}

func (a *Alarm) remove(p Policy) (State, error) {
	switch a.State {
	case OutOfService:
		return a.State, a.refuse(WrongState, Remove)
	case Suppressed:
		a.SuppressHeld = true
	default:
		a.holdLatch(p)
	}
	return OutOfService, nil
}

// end leaves a state that a person had set.
func (a *Alarm) end(from State, k Kind) (State, error) {
	if a.State != from {
		return a.State, a.refuse(WrongState, k)
	}
	return a.back(), nil
}

// back is where an alarm returns to that is no longer set aside by what set it.
func (a *Alarm) back() State {
	switch {
	case a.SuppressHeld:
		return Suppressed
	case a.Active:
		return Unacknowledged
	case a.LatchHeld:
		return LatchedUnacknowledged
	}
	return Normal
}

// holdLatch keeps a latch over the time that the alarm is set aside.
func (a *Alarm) holdLatch(p Policy) {
	switch a.State {
	case LatchedUnacknowledged, LatchedAcknowledged:
		a.LatchHeld = true
	case Unacknowledged, Acknowledged:
		a.LatchHeld = p.Latching
	default: // nothing was on, or it is held already
	}
}

func (a *Alarm) move(in Input, to State) Change {
	from := a.State
	a.State, a.Since, a.By, a.Note, a.Until = to, in.At, in.By, in.Note, 0
	if to == Shelved {
		a.Until = in.Until
	}
	if to == Suppressed || !to.SetAside() {
		a.SuppressHeld = false
	}
	if !to.SetAside() {
		a.LatchHeld = false
	}
	return Change{At: in.At, Old: from, New: to, Active: a.Active, By: in.By, Until: a.Until, Note: in.Note}
}

// remember reports what changed behind the state, which stays as it was.
func (a *Alarm) remember(in Input) Change {
	return Change{At: in.At, Old: a.State, New: a.State, Active: a.Active, By: in.By, Until: a.Until, Note: in.Note}
}

func (a *Alarm) refuse(why Reason, k Kind) error {
	return &Refusal{Reason: why, Input: k, State: a.State}
}
