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

func TestForbidden(t *testing.T) {
	for text, forbidden := range map[string]bool{
		"Loosen the nuts.":                                          true,
		"Slack back the gland while it runs.":                       true,
		"Back it off half a flat.":                                  true,
		"Ease off the gland.":                                       true,
		"Undo the follower.":                                        true,
		"Loosen the nuts if the maker's instructions allow it.":     false,
		"Do not slack back a hot gland; see the instructions.":      false,
		"Remove the guard and look.":                                true,
		"Work without guards.":                                      true,
		"Lock it out, then remove the guard.":                       false,
		"Never work without guards.":                                false,
		"Look from outside the guards.":                             false,
		"Tighten until it stops the weep.":                          true,
		"Tighten until no drips at all are seen.":                   true,
		"Do not aim at no weep at all.":                             false,
		"Bypass the trip.":                                          true,
		"Disable the interlock for the test.":                       true,
		"Never defeat a guard.":                                     false,
		"Tighten one flat and wait.":                                false,
		"Increase the flush and look for increasing weep.":          false,
		"Check for grease, which eases fitting; take off your ring": false,
	} {
		if why := Forbidden(text); (why != "") != forbidden {
			t.Errorf("%q: %q", text, why)
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
