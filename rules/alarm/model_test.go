package alarm

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// naive is the life cycle said the other way round: independent yes-or-no
// facts from which the state is read, instead of steps between states.
type naive struct {
	active, unacked, latched bool
	shelf                    time.Duration
	suppressed, removed      bool
}

func (n *naive) state() State {
	switch {
	case n.removed:
		return OutOfService
	case n.shelf != 0:
		return Shelved
	case n.suppressed:
		return Suppressed
	case n.active && n.unacked:
		return Unacknowledged
	case n.active:
		return Acknowledged
	case n.latched && n.unacked:
		return LatchedUnacknowledged
	case n.latched:
		return LatchedAcknowledged
	case n.unacked:
		return ReturnedUnacknowledged
	}
	return Normal
}

func (n *naive) aside() bool { return n.removed || n.shelf != 0 || n.suppressed }

// shown is called whenever the last reason to set the alarm aside may be gone.
func (n *naive) shown() {
	if !n.aside() {
		n.unacked = n.active || n.latched
	}
}

func (n *naive) until(at time.Duration) {
	if n.shelf != 0 && at >= n.shelf {
		n.shelf = 0
		n.shown()
	}
}

// apply answers whether the input is taken.
func (n *naive) apply(p Policy, in Input) bool {
	n.until(in.At)
	if in.Kind.ByPerson() && in.By == "" {
		return false
	}
	if in.Kind.ByPerson() {
		return n.person(p, in, !n.aside())
	}
	n.process(p, in.Kind, !n.aside())
	return true
}

func (n *naive) process(p Policy, k Kind, visible bool) {
	switch k {
	case Raise:
		if visible && !n.active {
			n.unacked = true
		}
		n.active = true
	case Clear:
		if visible && n.active {
			n.latched = p.Latching
		}
		n.active = false
	case Suppress:
		n.latch(p)
		n.suppressed = true
	default:
		was := n.suppressed
		n.suppressed = false
		if was {
			n.shown()
		}
	}
}

func (n *naive) person(p Policy, in Input, visible bool) (taken bool) {
	switch in.Kind {
	case Acknowledge:
		if taken = visible && n.unacked; taken {
			n.unacked = false
		}
	case Reset:
		if taken = visible && !n.active && !n.unacked && n.latched; taken {
			n.latched = false
		}
	case Shelve:
		if taken = visible && allowed(p, in); taken {
			n.latch(p)
			n.shelf = in.Until
		}
	case Unshelve:
		if taken = !n.removed && n.shelf != 0; taken {
			n.until(n.shelf)
		}
	case Remove:
		if taken = !n.removed; taken {
			n.latch(p)
			n.removed, n.shelf = true, 0
		}
	default:
		if taken = n.removed; taken {
			n.removed = false
			n.shown()
		}
	}
	return taken
}

func allowed(p Policy, in Input) bool {
	return in.Until > in.At && in.Until-in.At <= p.LongestShelf
}

// latch: a latching alarm that is on when it is set aside holds its latch.
func (n *naive) latch(p Policy) {
	if !n.aside() {
		n.latched = n.latched && !n.active || p.Latching && n.active
	}
}

// settleLatch: while an alarm is shown active, its latch is decided when it
// clears.
func (n *naive) settleLatch() {
	if !n.aside() && n.active {
		n.latched = false
	}
}

func drawInput(t *rapid.T, at time.Duration) Input {
	in := Input{
		Kind: Kind(rapid.IntRange(0, int(Kinds)-1).Draw(t, "kind")),
		At:   at,
		By:   rapid.SampledFrom([]string{"ann", "bob", ""}).Draw(t, "by"),
		Note: rapid.SampledFrom([]string{"", "why"}).Draw(t, "note"),
	}
	if in.Kind == Shelve {
		in.Until = at + time.Duration(rapid.IntRange(-1, 70).Draw(t, "for"))*time.Second
	}
	return in
}

// TestAlarmAgainstModel feeds the same inputs to both; in between the alarm
// is stored and read back as if the agent had been restarted.
func TestAlarmAgainstModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Policy{Latching: rapid.Bool().Draw(t, "latching"), LongestShelf: time.Minute}
		var a Alarm
		var n naive
		at := time.Second
		for range rapid.IntRange(1, 60).Draw(t, "inputs") {
			at += time.Duration(rapid.IntRange(0, 40).Draw(t, "wait")) * time.Second
			in := drawInput(t, at)
			before := a
			changes, err := a.Apply(p, in)
			taken := n.apply(p, in)
			n.settleLatch()
			checkAgainst(t, before, a, in, changes, err, taken, n.state())
			a = storedAndRead(t, a)
		}
	})
}

func checkAgainst(t *rapid.T, before, a Alarm, in Input, changes []Change, err error, taken bool, want State) {
	if (err == nil) != taken || a.State != want || a.Since < before.Since {
		t.Fatalf("%s at %s from %+v: %+v, %v; the model: taken %v, %s %s",
			in.Kind, in.At, before, a, err, taken, want.Letter(), want)
	}
	var refusal *Refusal
	if err != nil && !errors.As(err, &refusal) {
		t.Fatalf("%v is no Refusal", err)
	}
	state, since := before.State, before.Since
	for _, c := range changes {
		if c.Old != state || c.At < since || c.At > in.At {
			t.Fatalf("changes do not follow from each other: %+v", changes)
		}
		state, since = c.New, c.At
	}
	if state != a.State || len(changes) == 0 && a != before {
		t.Fatalf("changes %+v do not lead from %+v to %+v", changes, before, a)
	}
}

func storedAndRead(t *rapid.T, a Alarm) Alarm {
	data, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	var back Alarm
	if err := json.Unmarshal(data, &back); err != nil || back != a {
		t.Fatalf("%s reads back as %+v, %v", data, back, err)
	}
	return back
}
