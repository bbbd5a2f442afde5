package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
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

// day collects the rows of a station.
type day struct {
	random *rand.Rand
	rows   []reading.Reading
}

func (d *day) put(at time.Duration, gland string, k reading.Kind, v float64, q reading.Quality) {
	d.rows = append(d.rows, reading.Reading{At: at, Point: reading.Point{Gland: gland, Kind: k}, Value: v, Quality: q})
}

// phase is how a gland is at a time. p2 just drips; p1 runs dry and heats, rests,
// leaks, has sensors that fail, and gushes.
func phase(gland string, at time.Duration) (dpm, rise float64, drip, temp reading.Quality) {
	dpm, rise = 30, 10
	switch m := at.Minutes(); {
	case gland == "p2":
	case m > 20 && m < 30:
		dpm, rise = 0, 10+2.5*(m-20)
	case m > 32 && m < 36:
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

// mute is when the sensors say nothing at all.
func mute(at time.Duration) bool { return at > 77*time.Minute && at < 79*time.Minute }

func (d *day) live(gland string, length time.Duration) {
	d.put(0, gland, reading.Run, 1, reading.Good)
	for at := time.Second; at < length; at += 10 * time.Second {
		if _, rise, _, q := phase(gland, at); !mute(at) {
			d.put(at, gland, reading.Temp, 20+math.Round(16*(rise+d.random.Float64()))/16, q)
			d.put(at, gland, reading.Ref, 20, reading.Good)
		}
	}
	for at := time.Second; at < length; {
		dpm, _, q, _ := phase(gland, at)
		if dpm == 0 || mute(at) {
			at += time.Second
			continue
		}
		at += time.Duration(60 / dpm * (0.7 + 0.6*d.random.Float64()) * float64(time.Second))
		d.put(at, gland, reading.Drip, 1, q)
	}
}

// quarryDay writes some hours of a station of two glands.
func quarryDay(t *testing.T, path string, length time.Duration) {
	t.Helper()
	d := day{random: rand.New(rand.NewPCG(1, 2))}
	d.live("p1", length)
	d.live("p2", length)
	d.put(32*time.Minute, "p1", reading.Run, 0, reading.Good)
	d.put(36*time.Minute, "p1", reading.Run, 1, reading.Good)
	slices.SortStableFunc(d.rows, func(a, b reading.Reading) int { return cmp.Compare(a.At, b.At) })
	begin := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	var text bytes.Buffer
	w := recording.NewWriter(&text)
	for _, r := range d.rows {
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
alarms: {settle: 5m}
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

// told is a change of a condition, by the number of the agent's run and the time
// since that began.
type told struct {
	run              int
	since            time.Duration
	condition, state string
}

// journalled reads the changes of conditions out of the store.
func journalled(t *testing.T, folder, gland string) (list []told) {
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
	var began []time.Duration // steady
	_, err = s.Export(t.Context(), agent.ExportRequest{}, func(r agent.ExportRow) error {
		if r.Point.Kind == reading.Watch && r.Value == 1 {
			began = append(began, r.At)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	events, err := s.Events(t.Context(), 0, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	active := map[string]string{}
	run := 0
	for _, row := range events {
		var e agent.Event
		if err := json.Unmarshal(row.Payload, &e); err != nil {
			t.Fatal(err)
		}
		if e.Kind == agent.EventDown {
			run++
		}
		if e.Kind != agent.EventAlarm || e.Gland != gland || active[e.Condition] == e.State {
			continue
		}
		active[e.Condition] = e.State
		list = append(list, told{run, row.Steady - began[run], e.Condition, e.State})
	}
	return list
}

func replayedTold(t *testing.T, config, recorded, gland string) (list []told) {
	t.Helper()
	began := begins(t, recorded)
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
		run := 0
		for run+1 < len(began) && tr.Time.After(began[run+1]) {
			run++
		}
		if tr.Gland == gland {
			list = append(list, told{run, tr.Time.Sub(began[run]), tr.Condition, tr.State})
		}
	}
	return list
}

// begins gives when the agent's runs in a recording began.
func begins(t *testing.T, path string) (list []time.Time) {
	t.Helper()
	r, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if row.Point.Kind == reading.Watch && row.Value == 1 {
			list = append(list, agent.RecordedTime(row.At))
		}
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	return list
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
// gush, and sensors silent for minutes; it is stopped while a gland leaks, and
// started again. What it exports, while it runs and after its stop, replays with
// the same configuration to the changes that its journal holds: the same
// conditions, states and times, to the nanosecond.
func TestExportReplaysToTheJournal(t *testing.T) {
	const speed, length = 600, 100 * time.Minute
	dir := t.TempDir()
	quarryDay(t, filepath.Join(dir, "day.csv"), length)
	config := filepath.Join(dir, "quarry.yaml")
	if err := os.WriteFile(config, fmt.Appendf(nil, exportStation, "p1", speed), 0o600); err != nil {
		t.Fatal(err)
	}
	folder := filepath.Join(dir, "weepd-data")
	log, stop := startAgent(t, config)
	log.until(t, "a leak", func(s string) bool { return strings.Contains(s, "condition=leaking state=active") })
	stop()
	_, stop = startAgent(t, config)
	time.Sleep(length / speed / 2)
	running := filepath.Join(dir, "running.csv.zst")
	if got := weepd(t, "", "export", "--config", config, "--output", running); got.code != exitDone || !strings.Contains(got.err, "rows exported: ") {
		t.Fatalf("while it runs: %+v", got)
	}
	time.Sleep(length/speed/2 + time.Second)
	stop()

	whole := filepath.Join(dir, "whole.csv.gz")
	if got := weepd(t, "", "export", "--store", folder, "-o", whole); got.code != exitDone || strings.Contains(got.err, "in the midst") {
		t.Fatalf("after the stop: %+v", got)
	}
	want := journalled(t, folder, "p1")
	showsMuch(t, want)
	if got := replayedTold(t, config, whole, "p1"); !slices.Equal(got, want) {
		t.Errorf("replayed\n%v\njournal\n%v", got, want)
	}
	first := replayedTold(t, config, running, "p1")
	if len(first) == 0 || len(first) > len(want) || !slices.Equal(first, want[:len(first)]) {
		t.Errorf("exported while it ran, replayed\n%v\njournal\n%v", first, want)
	}
	exportsParts(t, folder)
}

// showsMuch: many conditions, and a leak that was not found again after a restart.
func showsMuch(t *testing.T, list []told) {
	t.Helper()
	seen := map[string]bool{}
	for _, c := range list {
		seen[c.condition] = true
	}
	notAgain := slices.ContainsFunc(list, func(c told) bool {
		return c.run == 1 && c.condition == "leaking" && c.state == agent.StateCleared && c.since < 20*time.Minute
	})
	if len(list) < 15 || len(seen) < 5 || !notAgain {
		t.Errorf("%d changes of %v, a leak not found again %v: little is shown", len(list), seen, notAgain)
	}
}

// exportsParts: around an event that is in the journal, one that is not, and a
// gland that there is not.
func exportsParts(t *testing.T, folder string) {
	t.Helper()
	around := weepd(t, "", "export", "--store", folder, "--around", "1", "--before", "10m", "--after", "5m")
	if around.code != exitDone || !strings.Contains(around.err, "in the midst of the agent's run") {
		t.Errorf("%d %s", around.code, around.err)
	}
	if got := weepd(t, "", "export", "--store", folder, "--around", "9999"); got.code != exitFault || !strings.Contains(got.err, "no such event is kept") {
		t.Errorf("%+v", got)
	}
	if got := weepd(t, "", "export", "--store", folder, "--gland", "p9"); got.code != exitDone || !strings.Contains(got.err, "note: nothing of") {
		t.Errorf("%+v", got)
	}
}

func TestExportRefuses(t *testing.T) {
	for says, args := range map[string][]string{
		"one of them":                      {},
		"--around has its own stretch":     {"--store", "x", "--around", "3", "--from", "1h"},
		"events begin at 1":                {"--store", "x", "--around", "0"},
		"belong to --around":               {"--store", "x", "--after", "1h"},
		`--gland "p 1"`:                    {"--store", "x", "--gland", "p 1"},
		`--from "yesterday": want a time`:  {"--store", "x", "--from", "yesterday"},
		"--from is not before --to":        {"--store", "x", "--from", "1h", "--to", "2h"},
		"--before and --after: want times": {"--store", "x", "--around", "3", "--before", "-1h"},
	} {
		if got := weepd(t, "", append([]string{"export"}, args...)...); got.code != exitUsage || !strings.Contains(got.err, says) {
			t.Errorf("%v: %+v", args, got)
		}
	}
	if got := weepd(t, "", "export", "--store", t.TempDir()); got.code != exitFault || !strings.Contains(got.err, "holds no history") {
		t.Errorf("%+v", got)
	}
}

// The stretch before an alarm that --around gives by itself is enough for the rules
// to learn: the alarm comes as it does with all that was before.
func TestSixHoursBeforeAnAlarmAreEnough(t *testing.T) {
	config := file(t, "quarry.yaml", "station: quarry\nglands: [{id: g01}]\n")
	for _, event := range []string{"dry@30h:4:10m", "leak@30h:80:10m", "burn@30h:5:10m"} {
		whole := weepd(t, "", "simulate", "--for", "31h", "--seed", "4", "--event", "g01:"+event)
		header, rows, _ := strings.Cut(whole.out, "\n")
		at := strings.Index(rows, "2025-01-02T00:") // 6 h before the event
		if whole.code != exitDone || at < 0 {
			t.Fatalf("%d, %s, cut at %d", whole.code, whole.err, at)
		}
		first := func(text string) string {
			got := weepd(t, text, "replay", "--config", config, "--json", "-")
			line, _, found := strings.Cut(got.out, "\n")
			if got.code != exitDone || !found {
				t.Fatalf("%s: no alarm; %s", event, got.err)
			}
			return line
		}
		if all, part := first(whole.out), first(header+"\n"+rows[at:]); all != part {
			t.Errorf("%s: with all before\n%s\nwith 6 h\n%s", event, all, part)
		}
	}
}
