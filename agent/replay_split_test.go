package agent

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/rules"
	"weepd/rules/reading"
	"weepd/sensors/recording"
)

// splitConfig has two glands with limits in which simulated ones do well.
func splitConfig() rules.Config {
	var cfg rules.Config
	for _, id := range []string{"g1", "a-gland-with-a-long-name"} {
		cfg.Glands = append(cfg.Glands, rules.GlandConfig{
			ID: id, NormalDPM: 30,
			Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25, FalseAlarmsPerYear: 1},
			Timing: rules.Timing{StartGrace: 2 * time.Minute, OffDelay: time.Minute, DeadbandPercent: 5},
		})
	}
	return cfg
}

// simulatedText is some hours of these glands in which things happen.
func simulatedText(t *rapid.T, cfg rules.Config) string {
	m := Simulation{
		Seed: rapid.Uint64().Draw(t, "seed"), From: time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC), For: 80 * time.Minute,
		Unit: rapid.SampledFrom([]time.Duration{time.Microsecond, time.Millisecond}).Draw(t, "unit"), Shape: rapid.SampledFrom([]float64{1, 4, 20}).Draw(t, "shape"), SplashShare: 0.02, MissShare: 0.02,
		TempEvery: 10 * time.Second,
	}
	for _, g := range cfg.Glands {
		m.Glands = append(m.Glands, SimulatedGland{ID: g.ID, DPM: rapid.Float64Range(20, 45).Draw(t, "dpm")})
	}
	for range rapid.IntRange(0, 4).Draw(t, "events") {
		event := fmt.Sprintf("%s:%s@%dm:%d:1m", rapid.SampledFrom(cfg.Glands).Draw(t, "gland").ID,
			rapid.SampledFrom([]string{"dry", "burn", "leak", "gush", "stop", "start"}).Draw(t, "what"),
			rapid.IntRange(20, 70).Draw(t, "minute"), rapid.SampledFrom([]int{2, 30, 100, 400}).Draw(t, "to"))
		if err := m.AddEvent(event); err != nil {
			t.Fatal(err)
		}
	}
	var text bytes.Buffer
	if err := m.Write(context.Background(), &text); err != nil {
		t.Fatal(err)
	}
	return text.String()
}

// However a recording is split into files, by time and by gland, the same comes
// out.
func TestSplittingFilesChangesNothing(t *testing.T) {
	dir := t.TempDir()
	raised := 0
	rapid.Check(t, func(t *rapid.T) {
		cfg := splitConfig()
		text := simulatedText(t, cfg)
		whole := replayTexts(t, dir, cfg, []string{text})
		header, body, _ := strings.Cut(text, "\n")
		rows := strings.SplitAfter(strings.TrimSuffix(body, "\n"), "\n")
		rows[len(rows)-1] += "\n"
		cuts := rapid.SliceOfN(rapid.IntRange(0, len(rows)-1), 0, 3).Draw(t, "cuts")
		byGland := rapid.Bool().Draw(t, "by gland")
		parts := map[string]*strings.Builder{}
		var order []string
		stretch := 0
		for i, row := range rows {
			if slices.Contains(cuts, i) {
				stretch++
			}
			name := fmt.Sprint(stretch)
			if point := strings.Split(row, ",")[1]; byGland {
				name += point[:strings.LastIndexByte(point, '.')]
			}
			if parts[name] == nil {
				parts[name] = &strings.Builder{}
				parts[name].WriteString(header + "\n")
				order = append(order, name)
			}
			parts[name].WriteString(row)
		}
		var texts []string
		for _, i := range rapid.Permutation(order).Draw(t, "order") {
			texts = append(texts, parts[i].String())
		}
		raised += len(whole)
		if split := replayTexts(t, dir, cfg, texts); !reflect.DeepEqual(whole, split) {
			t.Fatalf("whole\n%+v\nin %d files\n%+v", whole, len(texts), split)
		}
	})
	if raised == 0 {
		t.Error("nothing was ever raised: nothing is shown")
	}
}

// A recording of one gland is read and fed in stretches; row by row comes the same,
// and the same is counted.
func TestStretchesChangeNothing(t *testing.T) {
	raised, dir := 0, t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		cfg := splitConfig()
		cfg.Glands = cfg.Glands[:1]
		text := simulatedText(t, cfg)
		tally := NewReplayTally(cfg)
		fast := talliedTexts(t, dir, cfg, []string{text}, tally)
		reader, err := recording.NewReader("f", strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		station, err := rules.NewStation(cfg)
		if err != nil {
			t.Fatal(err)
		}
		var slow []rules.Transition
		singly := NewReplayTally(cfg)
		replay := Replay{Core: station, Tally: singly, Row: func(reading.Reading) {}, Transition: func(tr rules.Transition) error {
			slow = append(slow, tr)
			singly.Transition(tr)
			return nil
		}}
		if _, err := replay.Run(t.Context(), reader); err != nil {
			t.Fatal(err)
		}
		if raised += len(slow); !reflect.DeepEqual(fast, slow) {
			t.Fatalf("in stretches\n%+v\nrow by row\n%+v", fast, slow)
		}
		if a, b := fmt.Sprintf("%+v", tally.Glands()), fmt.Sprintf("%+v", singly.Glands()); a != b {
			t.Fatalf("counted\n%s\nrow by row\n%s", a, b)
		}
	})
	if raised == 0 {
		t.Error("nothing was ever raised: nothing is shown")
	}
}

func replayTexts(t *rapid.T, dir string, cfg rules.Config, texts []string) (out []rules.Transition) {
	return talliedTexts(t, dir, cfg, texts, NewReplayTally(cfg))
}

func talliedTexts(t *rapid.T, dir string, cfg rules.Config, texts []string, tally *ReplayTally) (out []rules.Transition) {
	var paths []string
	for i, text := range texts {
		path := filepath.Join(dir, fmt.Sprint(i, ".csv"))
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	_, err := ReplayFiles(context.Background(), nil, cfg, paths, tally, func(tr rules.Transition) error {
		out = append(out, tr)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
