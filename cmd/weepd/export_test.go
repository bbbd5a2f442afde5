package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/agent/store"
	"weepd/rules/reading"
	"weepd/sensors/recording"
)

// quarryDay writes some hours of a station of two glands: one runs dry and
// heats, leaks, gushes, stops and starts, is without readings for minutes, has
// sensors that fail; the other just drips.
func quarryDay(t *testing.T, path string, length time.Duration) {
	t.Helper()
	random := rand.New(rand.NewPCG(1, 2))
	begin := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	var rows []reading.Reading
	put := func(at time.Duration, gland string, k reading.Kind, v float64, q reading.Quality) {
		rows = append(rows, reading.Reading{At: at, Point: reading.Point{Gland: gland, Kind: k}, Value: v, Quality: q})
	}
	put(0, "p1", reading.Run, 1, reading.Good)
	put(0, "p2", reading.Run, 1, reading.Good)
	phase := func(at time.Duration) (dpm, rise float64, drip, temp reading.Quality) {
		dpm, rise = 30, 10
		switch m := at.Minutes(); {
		case m > 20 && m < 30:
			dpm, rise = 0, 10+2.5*(m-20)
		case m > 32 && m < 36: // at rest
			dpm, rise = 0, 3
		case m > 45 && m < 60:
			dpm = 130
		case m > 62 && m < 70:
			temp = reading.OpenCircuit
		case m > 72 && m < 76:
			drip = reading.Storm
		case m > 80 && m < 90:
			dpm, rise = 500, 6
		}
		return dpm, rise, drip, temp
	}
	put(32*time.Minute, "p1", reading.Run, 0, reading.Good)
	put(36*time.Minute, "p1", reading.Run, 1, reading.Good)
	for at := time.Second; at < length; at += 10 * time.Second {
		if at > 77*time.Minute && at < 79*time.Minute {
			continue // the agent's sensors say nothing at all
		}
		_, rise, _, q := phase(at)
		for _, g := range []string{"p1", "p2"} {
			if g == "p2" {
				rise, q = 10, reading.Good
			}
			put(at, g, reading.Temp, 20+math.Round(16*(rise+random.Float64()))/16, q)
			put(at, g, reading.Ref, 20, reading.Good)
		}
	}
	for _, g := range []string{"p1", "p2"} {
		for at := time.Second; at < length; {
			dpm, _, q, _ := phase(at)
			if g == "p2" {
				dpm, q = 30, reading.Good
			}
			if dpm == 0 || at > 77*time.Minute && at < 79*time.Minute {
				at += time.Second
				continue
			}
			at += time.Duration(60 / dpm * (0.7 + 0.6*random.Float64()) * float64(time.Second))
			put(at, g, reading.Drip, 1, q)
		}
	}
	slices.SortStableFunc(rows, func(a, b reading.Reading) int { return int(a.At - b.At) })
	var text bytes.Buffer
	w := recording.NewWriter(&text)
	for _, r := range rows {
		if err := w.Write(r, begin.Add(r.At)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

const exportStation = `station: quarry
glands:
  - id: %[1]s
    timing: {on_delay: 2s, run_in: 30m}
    sensors:
      drip: {source: recording, path: day.csv, point: p1.drip, speed: %[2]d}
      temp: {source: recording, path: day.csv, point: p1.temp, speed: %[2]d}
      ref: {source: recording, path: day.csv, point: p1.ref, speed: %[2]d}
      run: {source: recording, path: day.csv, point: p1.run, speed: %[2]d}
http: {listen: "127.0.0.1:0"}
`

// told is a change of a condition, at steady time.
type told struct {
	at               time.Duration
	condition, state string
}

// journalled reads the changes of conditions out of the store, and what a
// recording's times are ahead of steady time.
func journalled(t *testing.T, folder, gland string) (list []told, ahead time.Duration) {
	t.Helper()
	s, release, err := store.OpenToRead(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := release(); err != nil {
			t.Error(err)
		}
	}()
	events, err := s.Events(t.Context(), 0, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	active := map[string]string{}
	for _, row := range events {
		var e agent.Event
		if err := json.Unmarshal(row.Payload, &e); err != nil {
			t.Fatal(err)
		}
		if e.Kind != agent.EventAlarm || e.Gland != gland || active[e.Condition] == e.State {
			continue
		}
		active[e.Condition] = e.State
		list = append(list, told{row.Steady, e.Condition, e.State})
	}
	_, err = s.Export(t.Context(), agent.ExportRequest{}, func(r agent.ExportRow) error {
		ahead = time.Duration(r.Time.UnixNano()) - r.At
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list, ahead
}

func replayedTold(t *testing.T, config, recorded, gland string, ahead time.Duration) (list []told) {
	t.Helper()
	got := weepd(t, "", "replay", "--config", config, "--json", recorded)
	if got.code != exitDone {
		t.Fatalf("%+v", got)
	}
	for line := range strings.Lines(got.out) {
		var tr struct {
			Time                    time.Time
			Gland, Condition, State string
		}
		if err := json.Unmarshal([]byte(line), &tr); err != nil {
			t.Fatal(err)
		}
		if tr.Gland == gland {
			list = append(list, told{time.Duration(tr.Time.UnixNano()) - ahead, tr.Condition, tr.State})
		}
	}
	return list
}

// begin gives the time of a recording's first row.
func begin(t *testing.T, path string) time.Time {
	t.Helper()
	r, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	row, err := r.Next()
	if err := errors.Join(err, r.Close()); err != nil {
		t.Fatal(err)
	}
	return agent.RecordedTime(row.At)
}

// startAgent runs `weepd run` until the returned function is called.
func startAgent(t *testing.T, config string) (log *saying, stop func()) {
	t.Helper()
	log = &saying{}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- execute(ctx, []string{"run", "--config", config}, strings.NewReader(""), &bytes.Buffer{}, log)
	}()
	log.until(t, "the start", func(s string) bool { return strings.Contains(s, "msg=started") })
	return log, func() {
		t.Helper()
		cancel()
		if code := <-ended; code != exitDone {
			t.Errorf("the agent ended with %d: %s", code, log)
		}
	}
}

// The proof: an agent runs for hours (of a played station, in seconds) with
// readings that are bad, a shaft that stops and starts, drops that stop, leak and
// gush, and sensors silent for minutes. What it exports, while it runs and after
// its stop, replays with the same configuration to the changes that its journal
// holds: the same conditions, states and times, to the nanosecond.
func TestExportReplaysToTheJournal(t *testing.T) {
	const speed, length = 600, 100 * time.Minute
	dir := t.TempDir()
	quarryDay(t, filepath.Join(dir, "day.csv"), length)
	config := filepath.Join(dir, "quarry.yaml")
	if err := os.WriteFile(config, fmt.Appendf(nil, exportStation, "p1", speed), 0o600); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, "weepd-data")
	_, stop := startAgent(t, config)
	time.Sleep(length / speed / 2)
	running := filepath.Join(dir, "running.csv.zst")
	if got := weepd(t, "", "export", "--config", config, "--output", running); got.code != exitDone || !strings.Contains(got.err, "rows exported: ") {
		t.Fatalf("while it runs: %+v", got)
	}
	time.Sleep(length/speed/2 + time.Second)
	stop()

	whole := filepath.Join(dir, "whole.csv.gz")
	if got := weepd(t, "", "export", "--store", folder, "-o", whole); got.code != exitDone || strings.Contains(got.err, "note:") {
		t.Fatalf("after the stop: %+v", got)
	}
	want, ahead := journalled(t, folder, "p1")
	seen := map[string]bool{}
	for _, c := range want {
		seen[c.condition] = true
	}
	if len(want) < 10 || len(seen) < 5 {
		t.Errorf("%d changes of %v: little is shown", len(want), seen)
	}
	if got := replayedTold(t, config, whole, "p1", ahead); !slices.Equal(got, want) {
		t.Errorf("replayed\n%v\njournal\n%v", got, want)
	}
	// A hurried clock's relation to the wall clock is another at each moment.
	ahead += begin(t, running).Sub(begin(t, whole))
	first := replayedTold(t, config, running, "p1", ahead)
	if len(first) == 0 || len(first) > len(want) || !slices.Equal(first, want[:len(first)]) {
		t.Errorf("exported while it ran, replayed\n%v\njournal\n%v", first, want)
	}
}
