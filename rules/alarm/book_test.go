package alarm

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

func quarry() Config {
	p := Policy{LongestShelf: time.Hour}
	glands := []string{"p1", "p2", "p3", "p4"}
	return Config{
		Glands:   glands,
		Policies: map[string]Policy{"dry": p, "leaking": p, "temp-sensor": p, "drip-sensor": p},
		Causes: []Cause{
			{ID: "ref", As: "temp-sensor", Conditions: []string{"temp-sensor"}, Glands: glands, Least: 3},
			{ID: "supply", As: "drip-sensor", Conditions: []string{"temp-sensor", "drip-sensor"}, Glands: glands, Least: 3},
		},
		Hold: 5 * time.Second,
	}
}

func mustBook(t testing.TB, cfg Config) *Book {
	t.Helper()
	b, err := NewBook(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestFloodScenario(t *testing.T) {
	const file = "testdata/flood.scenario"
	script, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	b := mustBook(t, quarry())
	var out strings.Builder
	for line := range strings.Lines(string(script)) {
		line = strings.TrimRight(line, "\n")
		if strings.HasPrefix(line, ">") {
			continue
		}
		fmt.Fprintln(&out, line)
		if f := strings.Fields(line); len(f) > 1 && f[0] != "#" {
			b = play(t, &out, b, f)
		}
	}
	compare(t, file, out.String())
}

// play takes one line `TIME INPUT [GLAND/CONDITION [BY [FOR]]]` and writes the
// answers; it gives the book to go on with.
func play(t *testing.T, out *strings.Builder, b *Book, f []string) *Book {
	t.Helper()
	at := mustDuration(t, f[0])
	if f[1] == "restart" {
		return restarted(t, b, b.cfg)
	}
	if f[1] == "time" {
		write(out, b.Advance(at), nil)
		return b
	}
	gland, condition, _ := strings.Cut(f[2], "/")
	key := Key{gland, condition}
	kind, ok := ParseKind(f[1])
	if !ok {
		t.Fatalf("no input %q", f[1])
	}
	if kind == Raise || kind == Clear {
		steps, err := b.Feed(Raw{At: at, Key: key, Active: kind == Raise})
		write(out, steps, err)
		return b
	}
	in := Input{Kind: kind, At: at}
	if len(f) > 3 {
		in.By = f[3]
	}
	if len(f) > 4 {
		in.Until = at + mustDuration(t, f[4])
	}
	steps, err := b.Command(key, in)
	write(out, steps, err)
	return b
}

func mustDuration(t *testing.T, s string) time.Duration {
	t.Helper()
	d, err := time.ParseDuration(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func write(out *strings.Builder, steps []Step, err error) {
	for _, s := range steps {
		fmt.Fprintln(out, "> "+describe(s))
	}
	if err != nil {
		fmt.Fprintln(out, "> refused: "+err.Error())
	}
}

func describe(s Step) string {
	text := fmt.Sprintf("%gs %s %s", s.At.Seconds(), s.Key, s.Old)
	if s.Moved() {
		text += " -> " + s.New.String()
	} else if s.Active && s.New.SetAside() {
		text += " active"
	}
	if len(s.Members) > 0 {
		text += fmt.Sprint(" ", s.Members)
	}
	if s.By != "" {
		text += " by " + s.By
	}
	if s.Until != 0 {
		text += fmt.Sprintf(" until %gs", s.Until.Seconds())
	}
	if s.Note != "" {
		text += " (" + s.Note + ")"
	}
	return text
}

type fataler interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// restarted stores the book and makes it anew from what was stored.
func restarted(t fataler, b *Book, cfg Config) *Book {
	t.Helper()
	data, err := json.Marshal(b.Entries())
	if err != nil {
		t.Fatal(err)
	}
	var entries []Entry
	if err := json.Unmarshal(data, &entries); err != nil {
		t.Fatal(err)
	}
	again, err := NewBook(cfg)
	if err != nil {
		t.Fatal(err)
	}
	if steps, unknown := again.Restore(entries); steps != nil || unknown != nil {
		t.Fatalf("restoring gave %v and left %v", steps, unknown)
	}
	return again
}

func TestRestoreAfterGlandsWereTakenFromTheConfig(t *testing.T) {
	b := mustBook(t, quarry())
	for _, g := range []string{"p2", "p3", "p4"} {
		if _, err := b.Feed(Raw{At: time.Second, Key: Key{g, "temp-sensor"}, Active: true}); err != nil {
			t.Fatal(err)
		}
	}
	b.Advance(time.Minute)
	if _, err := b.Feed(Raw{At: time.Minute, Key: Key{"p4", "dry"}, Active: true}); err != nil {
		t.Fatal(err)
	}
	smaller := quarry()
	smaller.Glands = []string{"p1", "p5", "p6"}
	for i := range smaller.Causes {
		smaller.Causes[i].Glands = smaller.Glands
	}
	again := mustBook(t, smaller)
	steps, unknown := again.Restore(b.Entries())
	if len(unknown) != 1 || unknown[0].Key != (Key{"p4", "dry"}) {
		t.Errorf("unknown: %v", unknown)
	}
	if len(steps) != 1 || steps[0].New != ReturnedUnacknowledged || steps[0].Key.Gland != "ref" {
		t.Errorf("steps: %v", steps)
	}
}

func TestShiftMovesShelves(t *testing.T) {
	b := mustBook(t, quarry())
	k := Key{"p1", "dry"}
	if _, err := b.Command(k, Input{Kind: Shelve, At: 1000 * time.Second, By: "ann", Until: 1600 * time.Second}); err != nil {
		t.Fatal(err)
	}
	b.Shift(-900 * time.Second) // the clock starts again at 100 s
	if at, ok := b.Next(); !ok || at != 700*time.Second {
		t.Fatalf("the shelf ends at %s, %v", at, ok)
	}
	if _, err := b.Feed(Raw{At: 101 * time.Second, Key: k, Active: true}); err != nil {
		t.Fatal(err)
	}
	steps := b.Advance(time.Hour)
	if len(steps) != 1 || steps[0].At != 700*time.Second || steps[0].New != Unacknowledged {
		t.Fatalf("got %v", steps)
	}
}

func TestConfigFaults(t *testing.T) {
	for name, spoil := range map[string]func(*Config){
		"least 1":           func(c *Config) { c.Causes[0].Least = 1 },
		"least over glands": func(c *Config) { c.Causes[0].Least = 5 },
		"unknown gland":     func(c *Config) { c.Causes[0].Glands = []string{"p1", "p9"}; c.Causes[0].Least = 2 },
		"unknown condition": func(c *Config) { c.Causes[0].Conditions = []string{"sleepy"} },
		"unknown as":        func(c *Config) { c.Causes[0].As = "sleepy" },
		"a gland's id":      func(c *Config) { c.Causes[0].ID = "p1" },
		"no id":             func(c *Config) { c.Causes[0].ID = "" },
		"id twice":          func(c *Config) { c.Causes[1].ID = "ref" },
		"no hold":           func(c *Config) { c.Hold = 0 },
	} {
		cfg := quarry()
		spoil(&cfg)
		if _, err := NewBook(cfg); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
