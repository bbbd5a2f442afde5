package alarm

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

var rewrite = flag.Bool("rewrite", false, "rewrite the tables in testdata")

const (
	began  = 100 * time.Second // when the starting states were entered
	asked  = 200 * time.Second // when the input comes
	ends   = 300 * time.Second // when a starting shelf ends
	longer = time.Hour         // the longest shelf
)

// start is a starting point of the table: every state, with every set of what
// may be remembered behind it.
type start struct {
	name  string
	alarm Alarm
}

func starts() []start {
	list := []start{
		{"A", Alarm{State: Normal}},
		{"B", Alarm{State: Unacknowledged, Active: true}},
		{"C", Alarm{State: Acknowledged, Active: true}},
		{"D", Alarm{State: ReturnedUnacknowledged}},
		{"E", Alarm{State: LatchedUnacknowledged}},
		{"F", Alarm{State: LatchedAcknowledged}},
	}
	for _, s := range []State{Shelved, Suppressed, OutOfService} {
		for bits := range 8 {
			a := Alarm{State: s, Active: bits&1 != 0, LatchHeld: bits&2 != 0, SuppressHeld: bits&4 != 0}
			if s == Suppressed && a.SuppressHeld {
				continue
			}
			if s == Shelved {
				a.Until = ends
			}
			list = append(list, start{held(a), a})
		}
	}
	for i := range list {
		list[i].alarm.Since = began
	}
	return list
}

// held writes a state's letter and what is remembered behind it: + for a true
// condition, l for a latch, s for suppression.
func held(a Alarm) string {
	name := a.State.Letter()
	for _, mark := range []struct {
		on   bool
		mark string
	}{{a.Active && a.State.SetAside(), "+"}, {a.LatchHeld, "l"}, {a.SuppressHeld, "s"}} {
		if mark.on {
			name += mark.mark
		}
	}
	return name
}

type column struct {
	name string
	in   Input
}

func columns() []column {
	var list []column
	for k := range Kinds {
		in := Input{Kind: k, At: asked}
		if k.ByPerson() {
			in.By = "ann"
		}
		if k == Shelve {
			in.Until = asked + longer
		}
		list = append(list, column{k.String(), in})
	}
	return append(list, column{"time", Input{At: ends}})
}

func cell(a Alarm, p Policy, c column) string {
	if c.name == "time" {
		a.Advance(c.in.At)
		return held(a)
	}
	changes, err := a.Apply(p, c.in)
	var refusal *Refusal
	switch {
	case errors.As(err, &refusal):
		return "(" + refusal.Reason.String() + ")"
	case err != nil:
		return "(" + err.Error() + ")"
	case len(changes) == 0:
		return "."
	}
	return held(a)
}

// TestTable writes down what every input does in every state, so that a
// change of the life cycle shows as a change of a readable table.
func TestTable(t *testing.T) {
	var out strings.Builder
	out.WriteString("What each input does in each state of IEC 62682 / ISA-18.2 (letters A to I).\n" +
		"+ condition true, l latch held, s suppression held behind a state set aside;\n" +
		". nothing changes; (word) refused, and why; time: the shelf's end is reached.\n")
	for _, latching := range []bool{false, true} {
		fmt.Fprintf(&out, "\nlatching: %v\n%-6s", latching, "from")
		for _, c := range columns() {
			fmt.Fprintf(&out, "%-19s", c.name)
		}
		for _, s := range starts() {
			fmt.Fprintf(&out, "\n%-6s", s.name)
			for _, c := range columns() {
				fmt.Fprintf(&out, "%-19s", cell(s.alarm, Policy{Latching: latching, LongestShelf: longer}, c))
			}
		}
		out.WriteString("\n")
	}
	compare(t, "testdata/table.txt", trimLines(out.String()))
}

func trimLines(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

func compare(t *testing.T, file, got string) {
	t.Helper()
	if *rewrite {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("%v; make it with -rewrite", err)
	}
	if got != string(want) {
		t.Errorf("%s differs; look at it, then use -rewrite. Got:\n%s", file, got)
	}
}

// figure is the standard's state transition figure, typed by hand from memory
// (IEC 62682 / ISA-18.2), not derived from the code. "aside" stands for G, H
// and I. The steps marked * are not drawn there: see Alarm's doc comment.
const figure = `
A raise B
B acknowledge C
B clear D          not latching
B clear E          latching
C clear A          not latching
C clear F          latching
D acknowledge A
D raise B
E acknowledge F
E raise B
F reset A
F raise B
A shelve G
B shelve G
C shelve G
D shelve G
E shelve G
F shelve G
G unshelve A
G unshelve B
G time A
G time B
A suppress H
B suppress H
C suppress H
D suppress H
E suppress H
F suppress H
H unsuppress A
H unsuppress B
A remove I
B remove I
C remove I
D remove I
E remove I
F remove I
I restore A
I restore B
G remove I         *
H remove I         *
G unshelve E       *
G time E           *
H unsuppress E     *
I restore E        *
G unshelve H       *
G time H           *
I restore H        *
`

// TestFigure checks that the alarm takes every step of the figure and no other.
func TestFigure(t *testing.T) {
	drawn := make(map[string]bool)
	for line := range strings.Lines(figure) {
		if f := strings.Fields(line); len(f) >= 3 {
			drawn[strings.Join(f[:3], " ")] = true
		}
	}
	taken := make(map[string]bool)
	for _, latching := range []bool{false, true} {
		for _, s := range starts() {
			for _, c := range columns() {
				after := cell(s.alarm, Policy{Latching: latching, LongestShelf: longer}, c)
				if from := s.alarm.State.Letter(); after[0] >= 'A' && after[0] <= 'I' && after[:1] != from {
					taken[from+" "+c.name+" "+after[:1]] = true
				}
			}
		}
	}
	for step := range drawn {
		if !taken[step] {
			t.Errorf("the figure has %q, the alarm never takes it", step)
		}
	}
	for step := range taken {
		if !drawn[step] {
			t.Errorf("the alarm takes %q, which is not in the figure", step)
		}
	}
}
