package rules

import (
	"bufio"
	"cmp"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weepd/rules/reading"
)

var rewrite = flag.Bool("rewrite", false, "write what the scenarios give into their files")

const wantLine = "-- what comes of it --"

// A scenario is a text: lines of `FROM [TO] POINT VALUE`, then what comes of it.
// Drops fall every VALUE (a duration) from FROM to TO, perfectly regular; a
// temperature is read every 10 s and goes from A to B when VALUE is A..B;
// `bad` is a reading whose quality is a fault. `AT set KEY VALUE` puts another
// limit or timing in force.
func TestScenarios(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) < 8 {
		t.Fatalf("scenarios: %d files, %v", len(files), err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			script, want, found := strings.Cut(string(text), wantLine+"\n")
			if !found {
				t.Fatalf("%s: no line %q", file, wantLine)
			}
			got := play(t, script)
			if *rewrite {
				if err := os.WriteFile(file, []byte(script+wantLine+"\n"+got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != want {
				t.Errorf("got\n%swant\n%s", got, want)
			}
		})
	}
}

// repacked marks `AT repacked LENGTH`: a run-in begins.
const repacked = reading.Repacked

// testGland is the gland of all scenarios.
func testGland() GlandConfig {
	return GlandConfig{
		ID: "p1", NormalDPM: 30,
		Limits: Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
		Timing: Timing{Settle: 10 * time.Minute, StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
	}
}

func play(t *testing.T, script string) string {
	t.Helper()
	readings := parseScript(t, script)
	gland := testGland()
	if i := slices.IndexFunc(readings, func(r reading.Reading) bool { return r.Point.Kind == repacked }); i >= 0 {
		gland.Timing.RunIn = time.Duration(readings[i].Value)
	}
	gland.InferShaft = strings.Contains(script, "\n# No run signal.")
	s, err := NewStation(Config{Glands: []GlandConfig{gland}})
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	changes := parseChanges(t, script)
	for _, r := range readings {
		for ; len(changes) > 0 && changes[0].at <= r.At; changes = changes[1:] {
			changes[0].do(&gland)
			transitions, err := s.Reconfigure(changes[0].at, Config{Glands: []GlandConfig{gland}})
			if err != nil {
				t.Fatal(err)
			}
			for _, tr := range transitions {
				fmt.Fprintln(&out, describe(tr))
			}
		}
		if r.Point.Kind == repacked {
			for _, tr := range s.Advance(r.At) {
				fmt.Fprintln(&out, describe(tr))
			}
			if err := s.RunIn("p1", r.At); err != nil {
				t.Fatal(err)
			}
			continue
		}
		transitions, err := s.Feed(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, tr := range transitions {
			fmt.Fprintln(&out, describe(tr))
		}
	}
	return out.String()
}

func describe(tr Transition) string {
	state := "cleared"
	if tr.Active {
		state = "active"
	}
	return fmt.Sprintf("%-9s %-11s %-7s %s", tr.At.Round(time.Second), tr.Condition, state, tr.Message)
}

func parseScript(t *testing.T, script string) []reading.Reading {
	t.Helper()
	var all []reading.Reading
	lines := bufio.NewScanner(strings.NewReader(script))
	for lines.Scan() {
		fields := strings.Fields(lines.Text())
		if len(fields) == 0 || fields[0] == "#" || fields[1] == "set" {
			continue
		}
		all = append(all, parseLine(t, fields)...)
	}
	slices.SortStableFunc(all, func(a, b reading.Reading) int { return cmp.Compare(a.At, b.At) })
	return all
}

func parseLine(t *testing.T, fields []string) []reading.Reading {
	t.Helper()
	duration := func(s string) time.Duration {
		d, err := time.ParseDuration(s)
		if err != nil {
			t.Fatalf("%v: %v", fields, err)
		}
		return d
	}
	from, to := duration(fields[0]), duration(fields[0])
	if len(fields) == 4 {
		to = duration(fields[1])
		fields = fields[1:]
	}
	if fields[1] == "repacked" {
		return []reading.Reading{{At: from, Point: reading.Point{Gland: "p1", Kind: repacked}, Value: float64(duration(fields[2]))}}
	}
	kind, err := reading.ParseKind(fields[1])
	if err != nil {
		t.Fatal(err)
	}
	step, first, last := 10*time.Second, 1.0, 1.0
	quality := reading.Good
	switch value := fields[2]; {
	case value == "bad":
		quality = reading.Fault
	case kind == reading.Drip:
		step = duration(value)
	default:
		a, b, ramp := strings.Cut(value, "..")
		if !ramp {
			b = a
		}
		first, last = number64(t, a), number64(t, b)
	}
	var all []reading.Reading
	for at := from; at <= to; at += step {
		share := 0.0
		if to > from {
			share = float64(at-from) / float64(to-from)
		}
		value := first + (last-first)*share
		if kind == reading.Temp { // a real sensor stirs
			value += 0.0625 * float64(at/step%2)
		}
		all = append(all, reading.Reading{At: at, Point: reading.Point{Gland: "p1", Kind: kind}, Value: value, Quality: quality})
	}
	return all
}

func number64(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
