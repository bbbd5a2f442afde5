package alarm

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func shared(glands ...string) Config {
	policies := map[string]Policy{"dry": {LongestShelf: time.Hour}, "temp": {LongestShelf: time.Hour}}
	return Config{Glands: glands, Policies: policies, Hold: 10 * time.Second, Causes: []Cause{
		{ID: "shared.ref", As: "temp", Conditions: []string{"temp"}, Glands: glands, Least: 2},
	}}
}

// The same configuration again, at any time, changes nothing that comes after:
// nor do glands that are added.
func TestReconfigureToTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plain, again := newBook(t, shared("a", "b", "c")), newBook(t, shared("a", "b", "c"))
		at := time.Duration(0)
		for range rapid.IntRange(1, 40).Draw(t, "inputs") {
			at += time.Duration(rapid.IntRange(0, 15).Draw(t, "s")) * time.Second
			if rapid.IntRange(0, 3).Draw(t, "again") == 0 {
				cfg := shared("a", "b", "c")
				if rapid.Bool().Draw(t, "another") {
					cfg.Glands = append(cfg.Glands, "d")
				}
				if steps, unknown, err := again.Reconfigure(cfg); err != nil || len(steps)+len(unknown) > 0 {
					t.Fatalf("%v, %v, %v", steps, unknown, err)
				}
			}
			k := Key{rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "gland"), rapid.SampledFrom([]string{"dry", "temp"}).Draw(t, "condition")}
			var one, two []Step
			if rapid.Bool().Draw(t, "raw") {
				raw := Raw{At: at, Key: k, Active: rapid.Bool().Draw(t, "active"), Note: "x"}
				one, _ = plain.Feed(raw)
				two, _ = again.Feed(raw)
			} else {
				in := Input{Kind: rapid.SampledFrom([]Kind{Acknowledge, Shelve, Unshelve}).Draw(t, "kind"), At: at, By: "operator", Until: at + time.Minute}
				one, _ = plain.Command(k, in)
				two, _ = again.Command(k, in)
			}
			same := slices.EqualFunc(one, two, func(x, y Step) bool {
				return x.Key == y.Key && x.Change == y.Change && slices.Equal(x.Members, y.Members)
			})
			if !same {
				t.Fatalf("without\n%v\nwith\n%v", one, two)
			}
		}
	})
}

func newBook(t *rapid.T, cfg Config) *Book {
	b, err := NewBook(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A gland that is taken out comes back as unknown, a raise of its that waits is
// forgotten; one that waits for a cause that is no more stands for itself.
func TestReconfigureWithoutAGland(t *testing.T) {
	b, err := NewBook(shared("a", "b"))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []Raw{
		{At: 1 * time.Second, Key: Key{"b", "dry"}, Active: true}, {At: 2 * time.Second, Key: Key{"a", "temp"}, Active: true},
	} {
		if _, err := b.Feed(r); err != nil {
			t.Fatal(err)
		}
	}
	cfg := shared("a")
	cfg.Causes = nil
	steps, unknown, err := b.Reconfigure(cfg)
	if err != nil || len(unknown) != 1 || unknown[0].Key != (Key{"b", "dry"}) {
		t.Fatalf("%v, %v", unknown, err)
	}
	if len(steps) != 1 || steps[0].Key != (Key{"a", "temp"}) || steps[0].New != Unacknowledged || steps[0].At != 2*time.Second {
		t.Errorf("%v", steps)
	}
	cfg.Hold, cfg.Causes = 0, []Cause{{ID: "x"}}
	if _, _, err := b.Reconfigure(cfg); err == nil {
		t.Error("a faulty configuration is taken")
	}
	if got := b.Active(); !slices.Equal(got, []Key{{"a", "temp"}}) {
		t.Errorf("active: %v", got)
	}
}
