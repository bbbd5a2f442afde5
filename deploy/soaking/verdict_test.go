package main

import (
	"fmt"
	"testing"
)

func numbered(seqs ...uint64) (list []event) {
	for _, seq := range seqs {
		e, err := parseEvent(fmt.Appendf(nil, `{"seq":%d, "kind":"x", "command":"c%d"}`, seq, seq))
		if err != nil {
			return nil // the judge would miss it
		}
		list = append(list, e)
	}
	return list
}

func delivered(list ...event) *arrivals {
	a := newArrivals()
	for _, e := range list {
		a.add(e)
	}
	return a
}

func read(list ...event) *sight {
	s := newSight()
	for _, e := range list {
		s.add(e)
	}
	return s
}

// A judge that finds no fault must be able to.
func TestJudge(t *testing.T) {
	other := numbered(2)[0]
	other.text += " "
	for _, c := range []struct {
		name                     string
		journal                  []event
		got                      *arrivals
		seen                     *sight
		commands                 []string
		lost, reordered, changed int
	}{
		{"all well, with doubles", numbered(1, 2, 3), delivered(numbered(1, 2, 1, 2, 3)...), read(numbered(1, 2)...), []string{"c1", "c3"}, 0, 0, 0},
		{"not delivered", numbered(1, 2, 3), delivered(numbered(1, 3)...), read(), nil, 1, 0, 0},
		{"late", numbered(1, 2, 3), delivered(numbered(1, 3, 2)...), read(), nil, 0, 1, 0},
		{"gap", numbered(1, 3), delivered(numbered(1, 3)...), read(), nil, 1, 0, 0},
		{"begins late", numbered(2, 3), delivered(numbered(2, 3)...), read(), nil, 1, 0, 0},
		{"delivered, then gone", numbered(1), delivered(numbered(1, 2)...), read(), nil, 1, 0, 0},
		{"read, then gone", numbered(1), delivered(numbered(1)...), read(numbered(2)...), nil, 1, 0, 0},
		{"delivered otherwise", numbered(1, 2), delivered(numbered(1)[0], other), read(), nil, 0, 0, 1},
		{"read otherwise", numbered(1, 2), delivered(numbered(1, 2)...), read(other), nil, 0, 0, 1},
		{"delivered twice, not the same", numbered(1, 2), delivered(numbered(1)[0], numbered(2)[0], other), read(), nil, 0, 0, 1},
		{"a command without an event", numbered(1), delivered(numbered(1)...), read(), []string{"c2"}, 1, 0, 0},
		{"a command done twice", append(numbered(1), event{seq: 2, command: "c1", text: "x"}), delivered(append(numbered(1), event{seq: 2, text: "x"})...), read(), []string{"c1"}, 0, 0, 1},
	} {
		v := judge(c.journal, c.got, c.seen, c.commands)
		if v.lost != c.lost || v.reordered != c.reordered || v.changed != c.changed {
			t.Errorf("%s: lost %d, reordered %d, changed %d; want %d, %d, %d: %v", c.name, v.lost, v.reordered, v.changed, c.lost, c.reordered, c.changed, v.words)
		}
	}
}

func TestEventTextIgnoresWhiteSpaceOnly(t *testing.T) {
	text := func(s string) string {
		e, err := parseEvent([]byte(s))
		if err != nil {
			t.Fatal(err)
		}
		return e.text
	}
	if text(`{"seq":1,"dpm":30.10}`) != text("{\n \"dpm\": 30.10, \"seq\": 1}") {
		t.Error("white space counts")
	}
	if text(`{"seq":1,"dpm":30.1}`) == text(`{"seq":1,"dpm":30.2}`) || text(`{"seq":1}`) == text(`{"seq":1,"by":""}`) {
		t.Error("a change does not count")
	}
}
