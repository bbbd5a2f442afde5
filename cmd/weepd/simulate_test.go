package main

import (
	"strings"
	"testing"
	"time"

	"weepd/rules/reading"
	"weepd/sensors/recording"
)

func simulatedRows(t *testing.T, args ...string) []reading.Reading {
	t.Helper()
	got := weepd(t, "", append([]string{"simulate"}, args...)...)
	if got.code != exitDone || got.err != "" {
		t.Fatalf("%d, %s", got.code, got.err)
	}
	r, err := recording.NewReader("out", strings.NewReader(got.out))
	if err != nil {
		t.Fatal(err)
	}
	var rows []reading.Reading
	for {
		row, err := r.Next()
		if err != nil {
			return rows
		}
		rows = append(rows, row)
	}
}

func TestSimulateKeepsToItsFlags(t *testing.T) {
	rows := simulatedRows(t, "--for", "10h", "--glands", "2", "--from", "2025-06-01T02:00:00+02:00", "--dpm", "40",
		"--splash", "0", "--missed", "0", "--without", "run", "--temp-every", "20s")
	count := map[string]int{}
	start := time.Date(2025, 6, 1, 0, 0, 0, 0, time.UTC)
	for _, r := range rows {
		count[r.Point.String()]++
		if at := r.At - time.Duration(start.UnixNano()); at < 0 || at >= 10*time.Hour || at%time.Millisecond != 0 {
			t.Fatalf("a row at %v", at)
		}
	}
	for _, g := range []string{"g01", "g02"} {
		if n := count[g+".drip"]; n < 23000 || n > 25000 { // 24000 with the default's sigma of 55
			t.Errorf("%s: %d drops in 10 h, want 24000", g, n)
		}
		if count[g+".temp"] != 1800 || count[g+".ref"] != 1800 || count[g+".run"] != 0 {
			t.Errorf("%s: %v", g, count)
		}
	}
}

func TestSimulateIsTheSameForASeed(t *testing.T) {
	text := func(args ...string) string {
		return weepd(t, "", append([]string{"simulate", "--for", "2h"}, args...)...).out
	}
	a, b, c := text("--seed", "4"), text("--seed", "4"), text("--seed", "5")
	if a != b || a == c || len(a) < 100_000 {
		t.Errorf("same seed, same text: %v; other seed, other text: %v; %d bytes", a == b, a != c, len(a))
	}
}

// What is simulated replays: an event raises its alarm in its gland alone, and
// the names and weeps come from the configuration.
func TestSimulatedEventsAreFound(t *testing.T) {
	cfg := file(t, "quarry.yaml", "station: quarry\nglands:\n  - {id: p1-de, normal_dpm: 30}\n  - {id: p2-de, normal_dpm: 40}\n")
	rec := weepd(t, "", "simulate", "--for", "4h", "--config", cfg, "--event", "p2-de:leak@3h:300:1m", "--event", "p2-de:stop@3h30m")
	if rec.code != exitDone {
		t.Fatalf("%+v", rec.err)
	}
	got := weepd(t, rec.out, "replay", "--json", "--config", cfg, "-")
	first, _, _ := strings.Cut(got.out, "\n")
	if got.code != exitDone || !strings.HasPrefix(first, `{"time":"2025-01-01T03:0`) ||
		!strings.Contains(first, `"gland":"p2-de"`) || strings.Contains(got.out, "p1-de") {
		t.Errorf("%d %s\n%s", got.code, got.err, got.out)
	}
}

func TestSimulateRefusesWhatItCannotDo(t *testing.T) {
	for _, args := range []string{
		"--for 0s", "--glands 0", "--from yesterday", "--from 1969-12-31T23:59:59Z", "--unit 2s", "--dpm -1", "--without drops", "--event g01:dry",
		"--event g09:dry@1h", "--event g01:flood@1h", "--event g01:dry@soon", "--event g01:dry@1h:few", "--event g01:dry@1h:3:long", "extra",
	} {
		got := weepd(t, "", append([]string{"simulate"}, strings.Fields(args)...)...)
		if got.code != exitUsage || got.out != "" {
			t.Errorf("%s: exit %d, %q", args, got.code, got.out[:min(80, len(got.out))])
		}
	}
}
