package config

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const diffed = `station: quarry
glands:
  - id: p1-de
    packing: {fibre: natural}
    sensors: {drip: {source: simulated}}
  - id: p2-de
    limits: {rise_c: 20}
alarms: {latched: [burning]}
log: {level: info}
`

func differences(t testing.TB, old, now string) string {
	t.Helper()
	a, faults := Parse("a", []byte(old))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	b, faults := Parse("b", []byte(now))
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	var text strings.Builder
	for _, d := range Diff(a, b, []byte(old), []byte(now)) {
		fmt.Fprintf(&text, "%s: %q to %q\n", d.Key, d.Old, d.New)
	}
	return text.String()
}

// Old against new: what the file says, and what follows from it by a default.
func TestDiff(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"# nothing but words", "", ""},
		{"rise_c: 20", "rise_c: 22.5", "glands.p2-de.limits.rise_c: \"20 °C\" to \"22.5 °C\"\n"},
		{"level: info", "level: debug", "log.level: \"info\" to \"debug\"\n"},
		{"[burning]", "[burning, dry]", "alarms.latched: \"burning\" to \"burning, dry\"\n"},
		{"{source: simulated}", "{source: simulated, dpm: 40}", "glands.p1-de.sensors.drip.dpm: \"\" to \"40\"\n"},
		{"id: p2-de", "id: p3-de", "glands.p2-de: \"configured\" to \"\"\nglands.p3-de: \"\" to \"configured\"\n"},
	} {
		now := strings.Replace(diffed, c.from, c.to, 1)
		if c.want == "" {
			now = diffed + c.from + "\n"
		}
		got := differences(t, diffed, now)
		for line := range strings.Lines(c.want) {
			if !strings.Contains(got, line) {
				t.Errorf("%s to %s:\n%swant\n%s", c.from, c.to, got, c.want)
			}
		}
		if c.want == "" && got != "" || strings.Contains(got, "glands.p3-de.") {
			t.Errorf("%s to %s: %s", c.from, c.to, got)
		}
	}
	byDefault := differences(t, diffed, strings.Replace(diffed, "natural", "synthetic", 1))
	for _, want := range []string{`packing.fibre: "natural" to "synthetic"`, `limits.dry_dpm: "7.5 dpm" to "15 dpm"`} {
		if !strings.Contains(byDefault, "glands.p1-de."+want) {
			t.Errorf("no %s in\n%s", want, byDefault)
		}
	}
	moved := strings.Replace(diffed, "log: {level: info}\n", "", 1)
	moved = strings.Replace(moved, "glands:", "log:\n  level: info # as before\nglands:", 1)
	if got := differences(t, diffed, moved); got != "" {
		t.Errorf("other lines, same values:\n%s", got)
	}
}

func TestDiffShowsNoSecrets(t *testing.T) {
	found := make(map[string]Difference)
	compare(found, map[string]string{"a.password": "old"}, map[string]string{"a.password": "new", "b.token": "t", "mqtt.password_file": "/etc/p"})
	text := fmt.Sprint(found)
	if strings.Contains(text, "old") || strings.Contains(text, "new") || strings.Contains(text, ":t}") || !strings.Contains(text, "/etc/p") || len(found) != 3 {
		t.Error(text)
	}
}

// Back and forth gives the same keys, and nothing differs from itself.
func TestDiffIsSymmetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.MapOf(rapid.StringMatching(`[a-c](\.[a-c])?`), rapid.StringMatching(`[0-9]`))
		a, b := values.Draw(t, "a"), values.Draw(t, "b")
		there, back, none := make(map[string]Difference), make(map[string]Difference), make(map[string]Difference)
		compare(there, a, b)
		compare(back, b, a)
		compare(none, a, a)
		for key, d := range there {
			if r := back[key]; r.Old != d.New || r.New != d.Old {
				t.Fatalf("%s: %v, back %v", key, d, r)
			}
		}
		if len(there) != len(back) || len(none) != 0 {
			t.Fatalf("%d there, %d back, %d with itself", len(there), len(back), len(none))
		}
	})
}
