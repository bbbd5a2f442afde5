package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weepd/agent/store"
)

const weekConfig = `station: quarry
time_zone: Europe/Berlin
water: {price_per_m3: 2, currency: EUR}
store: {path: kept}
glands:
  - id: p1-de
    drop_ml: 0.1
    sensors: {drip: {source: simulated}}
`

// keptWeek makes a station with a week of history. The store stays open, and
// locked, as an agent's is.
func keptWeek(t *testing.T) (config string) {
	t.Helper()
	config = file(t, "weepd.yaml", weekConfig)
	s, err := store.Open(filepath.Join(filepath.Dir(config), "kept"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	monday := time.Date(2026, 3, 1, 23, 0, 0, 0, time.UTC) // 00:00 in Berlin
	for day := range 7 {
		start := monday.Add(time.Duration(day) * 24 * time.Hour)
		for i := range 24 * 60 {
			dpm := 30.0
			if day == 3 {
				dpm = 90
			}
			s.Observe("p1-de.dpm", start.Add(time.Duration(i)*time.Minute), dpm)
		}
		if err := s.FlushAll(t.Context(), store.Stamp{Wall: start.Add(24 * time.Hour)}); err != nil {
			t.Fatal(err)
		}
	}
	return config
}

// reported runs the command as on 10 March 2026.
func reported(t *testing.T, args ...string) ran {
	t.Helper()
	var out, errs bytes.Buffer
	now := func() time.Time { return time.Date(2026, 3, 10, 9, 0, 0, 0, time.UTC) }
	cmd := reportCommand(streams{strings.NewReader(""), &out, &errs}, now)
	cmd.SetArgs(args)
	cmd.SetOut(&out)
	cmd.SetErr(&errs)
	cmd.SilenceUsage, cmd.SilenceErrors = true, true
	if err := cmd.ExecuteContext(t.Context()); err != nil {
		return ran{exitFault, out.String(), err.Error()}
	}
	return ran{exitDone, out.String(), errs.String()}
}

func TestReportOfAWeek(t *testing.T) {
	config := keptWeek(t)
	for _, args := range [][]string{{"--week"}, {"--week", "2026-W10"}, {"--week=2026-W10"}, {"2026-W10"}, {}} {
		got := reported(t, append([]string{"--config", config, "--format", "csv"}, args...)...)
		rows, err := csv.NewReader(strings.NewReader(got.out)).ReadAll()
		if err != nil || got.code != exitDone || len(rows) != 2 {
			t.Fatalf("%v: %v %+v", args, err, got)
		}
		row := make(map[string]string)
		for i, name := range rows[0] {
			row[name] = rows[1][i]
		}
		// 6 days of 30 drops a minute and one of 90, 0.1 mL each.
		for name, want := range map[string]string{
			"week": "2026-W10", "from": "2026-03-02T00:00:00+01:00", "until": "2026-03-09T00:00:00+01:00",
			"in_band_h": "144.00", "leaking_h": "24.00", "dry_h": "0.00", "not_watched_h": "0.00", "litres_low": "38.88", "litres_at_least": "false", "currency": "EUR",
		} {
			if row[name] != want {
				t.Errorf("%v: %s is %s, want %s", args, name, row[name], want)
			}
		}
	}
}

func TestReportIntoAFile(t *testing.T) {
	config := keptWeek(t)
	path := filepath.Join(t.TempDir(), "week.html")
	if got := reported(t, "--config", config, "--week", "-o", path); got != (ran{exitDone, "", ""}) {
		t.Fatalf("%+v", got)
	}
	page, err := os.ReadFile(path)
	if err != nil || !strings.Contains(string(page), "quarry, week 2026-W10") || !strings.Contains(string(page), "Plan an adjustment") ||
		!strings.Contains(string(page), "More weep than allowed") || !strings.Contains(string(page), "Never slack back a hot gland") {
		t.Errorf("%v\n%s", err, page)
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(entries) != 1 {
		t.Errorf("%v, %v left behind", err, entries)
	}
}

func TestReportRefuses(t *testing.T) {
	config := file(t, "weepd.yaml", weekConfig)
	for want, args := range map[string][]string{
		"want YEAR-Wweek":          {"--config", config, "--week", "last-week"},
		"2026 has no week 54":      {"--config", config, "2026-W54"},
		"want html or csv":         {"--config", config, "--format", "pdf"},
		"more than one week":       {"--config", config, "--week=2026-W10", "2026-W11"},
		"holds no store":           {"--config", config, "--week"},
		`required flag(s) "config`: {"--week"},
	} {
		if got := reported(t, args...); got.code == exitDone || !strings.Contains(got.err, want) || got.out != "" {
			t.Errorf("%v: %+v, want %q", args, got, want)
		}
	}
	if got := weepd(t, "", "report", "--config", config, "2026-W54"); got.code != exitUsage {
		t.Errorf("%+v", got)
	}
}

// TestReportTellsWhatCameOfAnAdjustment: hours of weep before and after a
// recorded adjustment, as the recorder keeps them for the upkeep.
func TestReportTellsWhatCameOfAnAdjustment(t *testing.T) {
	config := file(t, "weepd.yaml", weekConfig)
	s, err := store.Open(filepath.Join(filepath.Dir(config), "kept"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	begin := time.Date(2026, 2, 20, 0, 0, 0, 0, time.UTC)
	adjusted := time.Date(2026, 3, 4, 9, 30, 0, 0, time.UTC)
	for at := begin; at.Before(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC)); at = at.Add(time.Hour) {
		dpm := 70.0
		if at.After(adjusted) {
			dpm = 32
		}
		s.Observe("p1-de.weep", at, dpm)
		s.Observe("p1-de.watched", at, 60)
		if err := s.FlushAll(t.Context(), store.Stamp{Wall: at.Add(time.Minute)}); err != nil {
			t.Fatal(err)
		}
	}
	payload := `{"seq":1,"time":"2026-03-04T09:30:00Z","gland":"p1-de","by":"M. Weaver","command":"c1","kind":"adjusted","value":{"flats":2}}`
	if _, err := s.Commit(t.Context(), store.Batch{Upkeep: []store.Upkeep{{Gland: "p1-de", Stamp: store.Stamp{Wall: adjusted}, Payload: []byte(payload)}}}); err != nil {
		t.Fatal(err)
	}
	got := reported(t, "--config", config, "2026-W10")
	for _, want := range []string{"Wed 4 Mar 10:30", "M. Weaver", "tightened by 2 flats: from 70 to 32 drops/min", "has held for", "Next adjustment: too early to tell"} {
		if !strings.Contains(got.out, want) {
			t.Errorf("no %q in\n%s", want, got.out)
		}
	}
	if old := reported(t, "--config", config, "2026-W08"); strings.Contains(old.out, "Next adjustment") || strings.Contains(old.out, "M. Weaver") {
		t.Errorf("an old week tells of now:\n%s", old.out)
	}
}
