package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"weepd/agent"
	"weepd/agent/compare"
	"weepd/agent/config"
	"weepd/rules"
)

// against is the second configuration of a replay and how both are shown.
type against struct {
	path   string
	within time.Duration
	html   string // file to write; empty: none
}

const defaultWithin = 10 * time.Minute

func (a against) check(given func(flag string) bool) error {
	if a.path == "" {
		for _, flag := range []string{"html", "within"} {
			if given(flag) {
				return usageError{fmt.Errorf("--%s is of a comparison; add --against FILE", flag)}
			}
		}
		return nil
	}
	if a.within < 0 {
		return usageError{errors.New("--within must not be negative")}
	}
	return nil
}

// compared replays the recordings with both configurations and prints them side
// by side. What was read before a fault is shown all the same.
func compared(ctx context.Context, s streams, oldPath string, a against, recordings []string, asJSON bool) error {
	before, err := config.Load(oldPath)
	if err != nil {
		return err
	}
	after, err := config.Load(a.path)
	if err != nil {
		return err
	}
	var spans [2]compare.Spans
	watch := compare.Watch{Zone: after.TimeZone}
	bar, stop := startProgress(s)
	rows, err := agent.ManyReplay{
		Configs:    []rules.Config{before.Rules(), after.Rules()},
		Stdin:      s.in,
		Row:        watch.Row,
		Transition: func(i int, t rules.Transition) { spans[i].Transition(t) },
		Progress:   &bar.ReplayProgress,
	}.Run(ctx, recordings)
	err = errors.Join(stop(), err)
	if rows > 0 || err == nil {
		glands, alone := bothGlands(before, after, oldPath, a.path)
		result := compare.Of(&spans[0], &spans[1], &watch, a.within, glands)
		result.Station, result.OldFile, result.NewFile, result.Rows = before.Station, oldPath, a.path, rows
		result.Alone, result.Changes = alone, changedSettings(before, after)
		err = errors.Join(showComparison(s, result, a.html, asJSON), err)
	}
	_, countErr := fmt.Fprintf(s.err, "rows used: %d\n", rows)
	return errors.Join(err, countErr)
}

func showComparison(s streams, r compare.Result, html string, asJSON bool) error {
	var errs []error
	if html != "" {
		errs = append(errs, writeHTML(html, r))
	}
	out := bufio.NewWriter(s.out)
	if asJSON {
		lines := json.NewEncoder(out)
		lines.SetEscapeHTML(false)
		lines.SetIndent("", " ")
		errs = append(errs, lines.Encode(r))
	} else {
		errs = append(errs, printComparison(out, r))
	}
	return errors.Join(append(errs, out.Flush())...)
}

func writeHTML(path string, r compare.Result) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return compare.WriteHTML(file, r)
}

// bothGlands gives the glands of the old configuration, then those that only the
// new one has.
func bothGlands(before, after *config.Config, oldPath, newPath string) (ids []string, alone []compare.Alone) {
	alone = []compare.Alone{}
	seen := map[string]int{}
	for _, g := range before.Glands {
		ids = append(ids, g.ID)
		seen[g.ID] = 1
	}
	for _, g := range after.Glands {
		if seen[g.ID] == 0 {
			ids = append(ids, g.ID)
			alone = append(alone, compare.Alone{Gland: g.ID, File: newPath})
		}
		seen[g.ID]++
	}
	for _, g := range before.Glands {
		if seen[g.ID] == 1 {
			alone = append(alone, compare.Alone{Gland: g.ID, File: oldPath})
		}
	}
	return ids, alone
}

// changedSettings lists what differs between the configurations in what a replay
// depends on.
func changedSettings(before, after *config.Config) []compare.Setting {
	changes := []compare.Setting{}
	old := map[string]config.Gland{}
	for _, g := range before.Glands {
		old[g.ID] = g
	}
	for _, g := range after.Glands {
		was, known := old[g.ID]
		if !known {
			continue
		}
		values := map[string]string{}
		for _, set := range was.Settings() {
			values[set.Key] = set.Value
		}
		for _, set := range g.Settings() {
			if !strings.HasPrefix(set.Key, "sensors.") && values[set.Key] != set.Value {
				changes = append(changes, compare.Setting{Gland: g.ID, Key: set.Key, Old: orDash(values[set.Key]), New: set.Value})
			}
		}
	}
	return changes
}
