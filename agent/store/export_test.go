package store

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"weepd/agent"
	"weepd/rules/reading"
)

// life is what one run of an agent fed, with its wall clock.
type life struct {
	rows  []reading.Reading
	wrong time.Duration // how far the wall clock was behind at first
}

// exported gives all rows in the order of the export.
func exported(t testing.TB, s *Store, q agent.ExportRequest) (rows []agent.ExportRow, done agent.Exported) {
	t.Helper()
	done, err := s.Export(t.Context(), q, func(r agent.ExportRow) error { rows = append(rows, r); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return rows, done
}

// drawLife lives a run: rows of several points, each with a time of its own;
// flushes now and then, with clocks that drift; the wall clock may be wrong at
// first and be set later.
func drawLife(t *rapid.T, s *Store, start time.Duration, wrong time.Duration) life {
	l := life{wrong: wrong}
	base := start - wrong // the steady clock begins where the wall clock is
	at := base
	offset := time.Duration(0)
	set := rapid.IntRange(0, 3).Draw(t, "set after")
	kinds := []reading.Kind{reading.Drip, reading.Temp, reading.Ref, reading.Run}
	add := func(p reading.Point, v float64) {
		at += time.Duration(rapid.Int64Range(1, 40e9).Draw(t, "step"))
		l.rows = append(l.rows, reading.Reading{At: at, Point: p, Value: v})
		s.AddReadings(l.rows[len(l.rows)-1])
	}
	flush := func() {
		stamp := Stamp{Wall: time.Unix(0, int64(at+offset)), Steady: at}
		if err := s.Flush(context.Background(), stamp); err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{"p1", "p2"} {
		add(reading.Point{Gland: id, Kind: reading.Watch}, 1)
	}
	for part := range rapid.IntRange(1, 4).Draw(t, "flushes") {
		for range rapid.IntRange(1, 300).Draw(t, "rows") {
			id := rapid.SampledFrom([]string{"p1", "p2"}).Draw(t, "gland")
			add(reading.Point{Gland: id, Kind: rapid.SampledFrom(kinds).Draw(t, "kind")}, float64(rapid.IntRange(0, 1).Draw(t, "v")))
		}
		flush()
		offset += time.Duration(rapid.Int64Range(-1e6, 1e6).Draw(t, "drift"))
		if part == set && wrong > 0 { // a flush goes before each step
			offset += wrong
		}
	}
	return l
}

// However the clocks went and the rows were flushed: every row of every run comes
// back in the order in which it was fed, as far from the row before as it was, and
// a recording's time never goes back.
func TestExportKeepsOrderAndDistances(t *testing.T) {
	outer := t
	checks := flag.Lookup("rapid.checks") // each run and flush waits for the disk
	defer func(before string) { _ = checks.Value.Set(before) }(checks.Value.String())
	if err := checks.Value.Set("25"); err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		dir := outer.TempDir()
		var lives []life
		start := time.Duration(noon.UnixNano())
		for range rapid.IntRange(1, 3).Draw(t, "runs") {
			s := mustOpen(outer, dir, Options{})
			wrong := time.Duration(0)
			if rapid.Bool().Draw(t, "no battery clock") {
				wrong = start - time.Hour
			}
			lives = append(lives, drawLife(t, s, start, wrong))
			start += 30 * 24 * time.Hour
			mustClose(outer, s)
		}
		s := mustOpen(outer, dir, Options{})
		defer mustClose(outer, s)
		rows, done := exported(outer, s, agent.ExportRequest{})
		var want []reading.Reading
		for _, l := range lives {
			want = append(want, l.rows...)
		}
		if len(rows) != len(want) || done.Rows != int64(len(want)) {
			t.Fatalf("%d rows, want %d", len(rows), len(want))
		}
		n := 0
		for _, l := range lives {
			for i := range l.rows {
				if rows[n].Reading != want[n] {
					t.Fatalf("row %d is %+v, want %+v", n, rows[n], want[n])
				}
				if n > 0 && !rows[n].Time.After(rows[n-1].Time) {
					t.Fatalf("row %d goes back to %s", n, rows[n].Time)
				}
				if i > 0 && rows[n].Time.Sub(rows[n-1].Time) != want[n].At-want[n-1].At {
					t.Fatalf("row %d is %s after the one before, want %s", n, rows[n].Time.Sub(rows[n-1].Time), want[n].At-want[n-1].At)
				}
				n++
			}
		}
		checkParts(outer, t, s, rows)
	})
}

// checkParts holds a stretch of time against the whole.
func checkParts(outer *testing.T, t *rapid.T, s *Store, rows []agent.ExportRow) {
	from := rows[rapid.IntRange(0, len(rows)-1).Draw(t, "from")].Time
	to := rows[rapid.IntRange(0, len(rows)-1).Draw(t, "to")].Time
	if !from.Before(to) {
		return
	}
	var want []agent.ExportRow
	for _, r := range rows {
		if !r.Time.Before(from) && r.Time.Before(to) {
			want = append(want, r)
		}
	}
	if got, _ := exported(outer, s, agent.ExportRequest{From: from, To: to}); !slices.Equal(got, want) {
		t.Fatalf("from %s to %s: %d rows, want %d", from, to, len(got), len(want))
	}
	got, done := exported(outer, s, agent.ExportRequest{From: from, To: to, Whole: true})
	if first := got[0]; first.Point.Kind != reading.Watch || first.Value != 1 {
		t.Fatalf("a whole run begins with %+v; notes %q", first, done.Notes)
	}
}

func journalEvent(t *testing.T, s *Store, e agent.Event, at Stamp) int64 {
	t.Helper()
	text, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	seqs, err := s.Commit(t.Context(), Batch{Events: []Event{{Stamp: at, Kind: e.Kind, Payload: text}}})
	if err != nil {
		t.Fatal(err)
	}
	return seqs[0]
}

// Around an event of a run whose clock was wrong; the notes say what a replay
// cannot know.
func TestExportAround(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	defer mustClose(t, s)
	early := func(d time.Duration) time.Duration { return time.Hour + d } // 1970
	p := reading.Point{Gland: "p1", Kind: reading.Drip}
	s.AddReadings(reading.Reading{At: early(0), Point: reading.Point{Gland: "p1", Kind: reading.Watch}, Value: 1})
	for at := time.Second; at < 2*time.Hour; at += 10 * time.Second {
		s.AddReadings(reading.Reading{At: early(at), Point: p, Value: 1})
		if at%(5*time.Minute) == time.Second {
			wall := noon.Add(at)
			if at < 10*time.Minute {
				wall = time.Unix(0, int64(early(at)))
			}
			if err := s.Flush(t.Context(), Stamp{Wall: wall, Steady: early(at)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	alarm := journalEvent(t, s, agent.Event{Kind: agent.EventAlarm, Time: noon.Add(time.Hour)}, Stamp{noon.Add(time.Hour), early(time.Hour)})
	journalEvent(t, s, agent.Event{Kind: agent.EventConfig, Time: noon.Add(time.Hour + time.Minute), Changes: []agent.Change{{Key: "log.level"}}},
		Stamp{noon.Add(time.Hour + time.Minute), early(time.Hour + time.Minute)})
	rows, done := exported(t, s, agent.ExportRequest{Around: uint64(alarm), Before: 10 * time.Minute, After: 5 * time.Minute})
	if first, last := rows[0].Time, rows[len(rows)-1].Time; first.Before(noon.Add(50*time.Minute)) || first.After(noon.Add(50*time.Minute+10*time.Second)) ||
		last.Before(noon.Add(65*time.Minute-10*time.Second)) || !last.Before(noon.Add(65*time.Minute)) {
		t.Errorf("from %s to %s", first, last)
	}
	notes := strings.Join(done.Notes, "\n")
	if !strings.Contains(notes, "in the midst of the agent's run of 2026-") || !strings.Contains(notes, "the configuration changed at") {
		t.Errorf("notes: %s", notes)
	}
	if _, err := s.Export(t.Context(), agent.ExportRequest{Around: 77}, nil); !errors.Is(err, ErrNoEvent) {
		t.Errorf("%v", err)
	}
	if _, done := exported(t, s, agent.ExportRequest{From: noon.Add(48 * time.Hour)}); done.Rows != 0 || len(done.Notes) != 1 {
		t.Errorf("%+v", done)
	}
}

func TestOpenToRead(t *testing.T) {
	if _, _, err := OpenToRead(t.TempDir()); err == nil || !strings.Contains(err.Error(), "holds no history") {
		t.Error(err)
	}
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	if _, _, err := OpenToRead(dir); !errors.Is(err, ErrBusy) {
		t.Errorf("beside an agent: %v", err)
	}
	mustClose(t, s)
	_, release, err := OpenToRead(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := release(); err != nil {
		t.Error(err)
	}
}
