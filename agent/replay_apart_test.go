package agent

import (
	"bytes"
	"errors"
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

// patchyText is simulatedText with stretches in which some glands, or all, say
// nothing.
func patchyText(t *rapid.T, cfg rules.Config) []string {
	header, body, _ := strings.Cut(simulatedText(t, cfg), "\n")
	type hole struct {
		gland    string
		from, to time.Time
	}
	start := time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)
	var holes []hole
	for range rapid.IntRange(0, 4).Draw(t, "holes") {
		from := start.Add(time.Duration(rapid.IntRange(0, 4700).Draw(t, "from")) * time.Second)
		gland := rapid.SampledFrom([]string{"", cfg.Glands[0].ID, cfg.Glands[1].ID}).Draw(t, "of")
		holes = append(holes, hole{gland, from, from.Add(time.Duration(rapid.IntRange(20, 400).Draw(t, "seconds")) * time.Second)})
	}
	lines := []string{header + "\n"}
	for _, line := range strings.SplitAfter(body, "\n") {
		stamp, rest, _ := strings.Cut(line, ",")
		at, err := time.Parse(time.RFC3339Nano, stamp)
		if err != nil {
			continue
		}
		if !slices.ContainsFunc(holes, func(h hole) bool {
			return strings.HasPrefix(rest, h.gland) && !at.Before(h.from) && at.Before(h.to)
		}) {
			lines = append(lines, line)
		}
	}
	return lines
}

// Apart or merged, in one recording or one for each gland, the same comes out and
// the same is counted.
func TestApartIsTogether(t *testing.T) {
	raised, apart := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		cfg := splitConfig()
		lines := patchyText(t, cfg)
		var files []string
		if rapid.Bool().Draw(t, "by gland") {
			for _, g := range cfg.Glands {
				of := slices.DeleteFunc(slices.Clone(lines), func(l string) bool { return l != lines[0] && !strings.Contains(l, ","+g.ID+".") })
				files = append(files, strings.Join(of, ""))
			}
		} else {
			files = []string{strings.Join(lines, "")}
		}
		readers := func() (list []*recording.Reader) {
			for i, text := range files {
				r, err := recording.NewReader(fmt.Sprint("f", i), strings.NewReader(text))
				if err != nil {
					t.Fatal(err)
				}
				list = append(list, r)
			}
			return list
		}
		r, err := replayApart(t.Context(), cfg, nil, readers())
		if err != nil {
			t.Fatal(err)
		}
		apart++
		tally, merged := NewReplayTally(cfg), NewReplayTally(cfg)
		tally.join(r)
		for _, tr := range r.transitions {
			tally.Transition(tr)
		}
		together, rows := mergedReplay(t, cfg, merged, readers())
		if raised += len(together); rows != r.rows || !reflect.DeepEqual(r.transitions, together) {
			t.Fatalf("%d rows apart\n%+v\n%d merged\n%+v", r.rows, r.transitions, rows, together)
		}
		if a, b := fmt.Sprintf("%+v", tally.Glands()), fmt.Sprintf("%+v", merged.Glands()); a != b {
			t.Fatalf("counted apart\n%s\nmerged\n%s", a, b)
		}
	})
	if raised == 0 || apart == 0 {
		t.Error("nothing was ever raised: nothing is shown")
	}
}

// mergedReplay feeds row by row what is merged in order of time.
func mergedReplay(t *rapid.T, cfg rules.Config, tally *ReplayTally, readers []*recording.Reader) (out []rules.Transition, rows int64) {
	station, err := rules.NewStation(cfg)
	if err != nil {
		t.Fatal(err)
	}
	var from []Recorded
	for _, r := range readers {
		from = append(from, r)
	}
	rows, err = Replay{Core: station, Tally: tally, Row: func(reading.Reading) {}, Transition: func(tr rules.Transition) error {
		out = append(out, tr)
		tally.Transition(tr)
		return nil
	}}.Run(t.Context(), from...)
	if err != nil {
		t.Fatal(err)
	}
	return out, rows
}

// What cannot be replayed apart is merged, with the same words as ever.
func TestWhatDoesNotFitIsMerged(t *testing.T) {
	cfg := splitConfig()
	row := func(at int, rest string) string { return fmt.Sprintf("2025-03-01T00:00:%02dZ,%s\n", at, rest) }
	for name, files := range map[string][]string{
		"a gland in two":   {row(1, "g1.drip,1"), row(2, "g1.temp,20")},
		"an unknown gland": {row(1, "g1.drip,1"), row(2, "g9.drip,1")},
		"a bad row":        {row(1, "g1.drip,1") + row(3, "g1.drip,x"), row(2, "a-gland-with-a-long-name.drip,1")},
	} {
		var readers []*recording.Reader
		var paths []string
		for i, text := range files {
			text = recording.Header + "\n" + text
			r, err := recording.NewReader(fmt.Sprint("f", i), bytes.NewReader([]byte(text)))
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), fmt.Sprint(i, ".csv"))
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			readers, paths = append(readers, r), append(paths, path)
		}
		if _, err := replayApart(t.Context(), cfg, nil, readers); !errors.Is(err, errTogether) {
			t.Errorf("%s: %v", name, err)
		}
		rows, err := ReplayFiles(t.Context(), nil, cfg, paths, NewReplayTally(cfg), func(rules.Transition) error { return nil })
		if good := name == "a gland in two"; good != (err == nil) || good && rows != 2 {
			t.Errorf("%s: %d rows, %v", name, rows, err)
		}
	}
}
