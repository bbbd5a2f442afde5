package alarm

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"
)

func mustApply(t *testing.T, a *Alarm, p Policy, in Input) []Change {
	t.Helper()
	changes, err := a.Apply(p, in)
	if err != nil {
		t.Fatalf("%s: %v", in.Kind, err)
	}
	return changes
}

func refusedFor(t *testing.T, err error, want Reason) {
	t.Helper()
	var refusal *Refusal
	if !errors.As(err, &refusal) || refusal.Reason != want {
		t.Fatalf("got %v, want a refusal for %s", err, want)
	}
}

func TestShelfEndsAtItsExactTime(t *testing.T) {
	var a Alarm
	p := Policy{LongestShelf: time.Hour}
	mustApply(t, &a, p, Input{Kind: Raise, At: 10 * time.Second})
	mustApply(t, &a, p, Input{Kind: Shelve, At: 20 * time.Second, By: "ann", Until: 80 * time.Second, Note: "splash"})
	if at, ok := a.Next(); !ok || at != 80*time.Second {
		t.Fatalf("Next is %v, %v", at, ok)
	}
	if got := a.Advance(80*time.Second - 1); got != nil {
		t.Fatalf("ended early: %v", got)
	}
	// A late input finds the shelf ended in time and the alarm raised again.
	changes := mustApply(t, &a, p, Input{Kind: Acknowledge, At: 500 * time.Second, By: "bob"})
	want := []Change{
		{At: 80 * time.Second, Old: Shelved, New: Unacknowledged, Active: true, Note: "the shelf ended"},
		{At: 500 * time.Second, Old: Unacknowledged, New: Acknowledged, Active: true, By: "bob"},
	}
	if len(changes) != 2 || changes[0] != want[0] || changes[1] != want[1] {
		t.Fatalf("got %+v", changes)
	}
}

func TestShelvingRefused(t *testing.T) {
	p := Policy{LongestShelf: time.Hour}
	at := time.Minute
	for name, c := range map[string]struct {
		policy Policy
		in     Input
		want   Reason
		text   string
	}{
		"no end":      {p, Input{By: "ann"}, NoEnd, "say when"},
		"end is now":  {p, Input{By: "ann", Until: at}, EndPast, "future"},
		"end is past": {p, Input{By: "ann", Until: at - 1}, EndPast, "future"},
		"too long":    {p, Input{By: "ann", Until: at + time.Hour + 1}, TooLong, "1h0m0s"},
		"not allowed": {Policy{}, Input{By: "ann", Until: at + 1}, TooLong, "may not be shelved"},
		"nobody":      {p, Input{Until: at + 1}, NoName, "who"},
	} {
		t.Run(name, func(t *testing.T) {
			a := Alarm{State: Unacknowledged, Active: true}
			before := a
			c.in.Kind, c.in.At = Shelve, at
			changes, err := a.Apply(c.policy, c.in)
			refusedFor(t, err, c.want)
			if !strings.Contains(err.Error(), c.text) {
				t.Errorf("%q does not say %q", err, c.text)
			}
			if a != before || changes != nil {
				t.Errorf("a refused input changed the alarm: %+v %+v", a, changes)
			}
		})
	}
	a := Alarm{State: Unacknowledged, Active: true}
	mustApply(t, &a, p, Input{Kind: Shelve, At: at, By: "ann", Until: at + time.Hour})
}

func TestShelvingIsNoWayRoundTheReset(t *testing.T) {
	var a Alarm
	p := Policy{Latching: true, LongestShelf: time.Hour}
	mustApply(t, &a, p, Input{Kind: Raise, At: 1})
	mustApply(t, &a, p, Input{Kind: Clear, At: 2})
	mustApply(t, &a, p, Input{Kind: Shelve, At: 3, By: "ann", Until: 10})
	a.Advance(10)
	if a.State != LatchedUnacknowledged {
		t.Fatalf("after the shelf: %s %s", a.State.Letter(), a.State)
	}
	_, err := a.Apply(p, Input{Kind: Reset, At: 11, By: "ann"})
	refusedFor(t, err, NotAcknowledged)
	mustApply(t, &a, p, Input{Kind: Acknowledge, At: 12, By: "ann"})
	mustApply(t, &a, p, Input{Kind: Reset, At: 13, By: "ann"})
	if a.State != Normal {
		t.Fatalf("after the reset: %s", a.State)
	}
}

func TestUnknownInputIsRefused(t *testing.T) {
	var a Alarm
	_, err := a.Apply(Policy{}, Input{Kind: Kinds, By: "ann"})
	refusedFor(t, err, UnknownInput)
}

func TestWordsAreTheContract(t *testing.T) {
	want := "normal unacknowledged acknowledged returned-unacknowledged latched latched shelved suppressed out-of-service"
	var got []string
	for s := range States {
		got = append(got, s.String())
		back, err := ParseState(s.String(), s.Acked())
		if err != nil || back != s {
			t.Errorf("%s: reads back as %s, %v", s, back, err)
		}
	}
	if strings.Join(got, " ") != want {
		t.Errorf("got %s", got)
	}
	for k := range Kinds {
		if back, ok := ParseKind(k.String()); !ok || back != k {
			t.Errorf("%s reads back as %s", k, back)
		}
	}
	if _, ok := ParseKind("silence"); ok {
		t.Error("an unknown word was read as an input")
	}
}

func TestJSONKeepsEveryState(t *testing.T) {
	for _, s := range starts() {
		s.alarm.By, s.alarm.Note = "ann", "note"
		data, err := json.Marshal(s.alarm)
		if err != nil {
			t.Fatal(err)
		}
		var back Alarm
		if err := json.Unmarshal(data, &back); err != nil || back != s.alarm {
			t.Errorf("%s: %s reads back as %+v, %v", s.name, data, back, err)
		}
	}
}

func TestJSONRefusesWhatNoAlarmCanBe(t *testing.T) {
	for name, text := range map[string]string{
		"unknown word":           `{"state":"silenced"}`,
		"no state":               `{}`,
		"normal but active":      `{"state":"normal","active":true}`,
		"unacked but inactive":   `{"state":"unacknowledged"}`,
		"unacked but acked":      `{"state":"unacknowledged","active":true,"acknowledged":true}`,
		"shelf without end":      `{"state":"shelved"}`,
		"end without shelf":      `{"state":"normal","until_ns":5}`,
		"suppression in the way": `{"state":"normal","suppress_held":true}`,
		"latch in the way":       `{"state":"normal","latch_held":true}`,
		"not an object":          `[]`,
	} {
		a := Alarm{State: Acknowledged, Active: true}
		if err := json.Unmarshal([]byte(text), &a); err == nil {
			t.Errorf("%s: %s was read as %+v", name, text, a)
		} else if a.State != Acknowledged {
			t.Errorf("%s: a refused record changed the alarm", name)
		}
	}
}
