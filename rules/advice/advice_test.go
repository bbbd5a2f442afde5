package advice

import (
	"slices"
	"strings"
	"testing"

	"weepd/rules"
)

// TestConditions: there is a text for everything that can become an alarm.
func TestConditions(t *testing.T) {
	for c := range rules.Conditions {
		if !slices.Contains(Conditions(), c.String()) {
			t.Errorf("%s has no place for advice", c)
		}
	}
}

// TestBook: own texts replace whole, others fill in, and the standing cautions
// are there in every text, once.
func TestBook(t *testing.T) {
	others := map[string]Text{}
	for _, c := range Conditions() {
		others[c] = Text{Summary: "ours " + c, Steps: []Step{{Do: "a", Caution: "hot", Source: "s"}, {Do: "b", Source: "s"}}, Cautions: []string{"ours"}}
	}
	book := NewBook(map[string]Text{"dry": {Summary: "own", Steps: []Step{{Do: "look", Source: "s"}}}}, others)
	if dry := book.For("dry"); dry.Condition != "dry" || dry.Summary != "own" || len(dry.Cautions) != len(Standing()) {
		t.Errorf("%+v", dry)
	}
	steps, cautions := book.Lines("leaking")
	if !slices.Equal(steps, []string{"a CAUTION: hot", "b"}) || cautions[0] != "ours" || len(cautions) != 1+len(Standing()) {
		t.Errorf("%q, %q", steps, cautions)
	}
	book.For("leaking").Steps[0].Do = "changed"
	if again, _ := book.Lines("leaking"); again[0] != "a CAUTION: hot" {
		t.Error("a reader changed the book")
	}
	steps, cautions = book.Lines("no-such")
	if len(steps) != 1 || !strings.Contains(steps[0], "maker's instructions") || len(cautions) != len(Standing()) {
		t.Errorf("%q, %q", steps, cautions)
	}
}

// TestStanding: the product's safety texts, word for word where they matter.
func TestStanding(t *testing.T) {
	all := strings.Join(Standing(), "\n")
	for _, want := range []string{
		"maker's instructions", "lock-out rules", "local codes", "licensed", "turning shaft without its guards",
		"Never slack back a hot gland on a running pump unless the pump maker's instructions say so",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q", want)
		}
	}
}
