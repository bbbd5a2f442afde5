package store

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"weepd/rules/reading"
)

// TestRetentionInSimulatedTime runs four years in steps of four weeks, and a
// last one of a week.
func TestRetentionInSimulatedTime(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{Replies: 10})
	mustRelax(t, s)
	const week = 7 * day
	var now time.Duration
	steps := 0
	for ; now < 4*365*day; steps++ {
		step := 4 * week
		if now+step >= 4*365*day {
			step = week
		}
		addReadings(s, now, 5)
		for i := range step / time.Hour { // two minutes an hour: 1 and 3
			at := noon.Add(now + i*time.Hour)
			s.Observe("p1.dpm", at, 1)
			s.Observe("p1.dpm", at.Add(time.Minute), 3)
		}
		mustCommit(t, s, Batch{Replies: []Reply{{ID: strconv.Itoa(steps)}}})
		now += step
		if err := s.FlushAll(t.Context(), stampAt(now)); err != nil {
			t.Fatal(err)
		}
		if err := s.Maintain(t.Context(), stampAt(now)); err != nil {
			t.Fatal(err)
		}
	}
	end := noon.Add(now)
	if got := recorded(t, s, noon, end); len(got) != 6 {
		t.Errorf("%d readings, want the last week's 6", len(got))
	}
	checkTiers(t, s, end)
	checkReplies(t, s, steps-1)
	if rows := countRows(t, s.history.db, tableMinute); rows > 100 {
		t.Errorf("minutes lie in %d rows, want one a day", rows)
	}
}

func checkTiers(t *testing.T, s *Store, end time.Time) {
	t.Helper()
	for _, c := range []struct {
		name      string
		from, to  time.Duration // before the end
		perHour   int
		wantCount uint64
	}{
		{"minutes of 90 days", 89 * day, 88 * day, 2, 1},
		{"hours after that", 93 * day, 92 * day, 1, 2},
		{"hours of 3 years", (3*365 - 2) * day, (3*365 - 3) * day, 1, 2},
		{"nothing after that", (3*365 + 3) * day, (3*365 + 2) * day, 0, 0},
	} {
		list, _, err := s.Samples(t.Context(), "p1.dpm", end.Add(-c.from), end.Add(-c.to), 2000)
		if err != nil || len(list) != 24*c.perHour {
			t.Errorf("%s: %d samples, %v", c.name, len(list), err)
			continue
		}
		if len(list) > 0 && (list[0].Count != c.wantCount || c.perHour == 1 && (list[0].Min != 1 || list[0].Mean != 2 || list[0].Max != 3)) {
			t.Errorf("%s: %+v", c.name, list[0])
		}
	}
}

func checkReplies(t *testing.T, s *Store, newest int) {
	t.Helper()
	for id, want := range map[int]bool{0: false, newest - 10: false, newest - 9: true, newest: true} {
		if _, done, err := s.Done(t.Context(), strconv.Itoa(id)); done != want || err != nil {
			t.Errorf("reply %d is remembered: %v, %v", id, done, err)
		}
	}
}

func countRows(t *testing.T, d *database, table string) (n int) {
	t.Helper()
	if err := d.QueryRowContext(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestOrderOfSacrifice fills a small store with more and more undelivered
// events and looks what is given up for them.
func TestOrderOfSacrifice(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{MaxBytes: MinBytes})
	for d := range 20 * day / time.Hour {
		s.Observe("p1.dpm", noon.Add(d*time.Hour), float64(d))
	}
	addReadings(s, 0, 100_000)
	damaged := filepath.Join(dir, "journal.db.damaged-20260101T000000Z")
	if err := os.WriteFile(damaged, make([]byte, 1<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	big := Event{Payload: []byte(strings.Repeat("x", 2000))}
	delivered := mustCommit(t, s, Batch{Events: []Event{big, big, big, big, big}})
	if err := s.Delete(t.Context(), delivered[4]); err != nil {
		t.Fatal(err)
	}
	order := watchSacrifice(t, s, big)
	if got := strings.Join(order, " "); got != "readings minutes hours delivered" {
		t.Errorf("given up: %s", got)
	}
	if _, err := os.Stat(damaged); err == nil {
		t.Error("the damaged file was kept over the bound")
	}
	pending, err := s.Pending(t.Context(), 0, 1_000_000)
	if err != nil || int64(len(pending)) != s.OutboxLen() || pending[0].Seq != 6 || s.OutboxLen() != s.LastSeq()-5 {
		t.Errorf("%d pending of %d, %v", len(pending), s.OutboxLen(), err)
	}
}

// watchSacrifice adds undelivered events until all that may go is gone, and
// gives the order in which it went.
func watchSacrifice(t *testing.T, s *Store, big Event) (order []string) {
	t.Helper()
	for i := 0; len(order) < 4 && i < 3000; i++ {
		mustCommit(t, s, Batch{Events: []Event{big, big, big, big, big, big, big, big, big, big}})
		at := 1000*day + time.Duration(i)*time.Minute
		s.Observe("p1.other", noon.Add(at), 1) // gives Flush something to do
		if err := s.Flush(t.Context(), stampAt(at)); err != nil {
			t.Fatal(err)
		}
		for _, name := range []string{"readings", "minutes", "hours", "delivered"} {
			if !slices.Contains(order, name) && isGone(t, s, name, slices.Contains(order, "minutes")) {
				order = append(order, name)
			}
		}
	}
	return order
}

// isGone says so of what was there before the events came. Hours come only
// out of thinned minutes.
func isGone(t *testing.T, s *Store, name string, thinned bool) bool {
	t.Helper()
	switch name {
	case "readings":
		return countRows(t, s.history.db, tableReading) == 0
	case "minutes":
		return countRows(t, s.history.db, tableMinute) <= 1
	case "hours":
		return thinned && countRows(t, s.history.db, tableHour) == 0
	default:
		list, err := s.Events(t.Context(), 0, 1)
		if err != nil {
			t.Fatal(err)
		}
		return list[0].Seq > 5
	}
}

// TestBoundHolds: whatever comes in, pages in use and files stay below it.
func TestBoundHolds(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{MaxBytes: 6 << 20})
	mustRelax(t, s)
	for i := range 60 {
		addReadings(s, time.Duration(i)*10*time.Hour, 30_000)
		mustCommit(t, s, Batch{Events: events(200, 0)})
		if err := s.Delete(t.Context(), s.LastSeq()); err != nil {
			t.Fatal(err)
		}
		if err := s.Flush(t.Context(), stampAt(time.Duration(i+1)*10*time.Hour)); err != nil {
			t.Fatal(err)
		}
		u, err := s.Usage(t.Context())
		if err != nil || u.Bytes > u.Bound || u.Files > u.Bound+walBytes {
			t.Fatalf("round %d: %+v, %v", i, u, err)
		}
	}
	if countRows(t, s.history.db, tableReading) == 0 || countRows(t, s.journal.database, "event") != 60*200 {
		t.Error("more was given up than needed")
	}
}

// TestBytesWrittenPerGlandAndDay counts what is handed to the file system
// (wchar of /proc/self/io) in six simulated hours at 32 glands: 30 drops a
// minute, both temperatures every 10 s, minutes of two series, an alarm change
// a gland, a flush every 10 minutes, a heartbeat every 5.
func TestBytesWrittenPerGlandAndDay(t *testing.T) {
	const glands = 32
	s := mustOpen(t, t.TempDir(), Options{})
	before := written(t)
	for m := range 6 * 60 {
		start := time.Duration(m) * time.Minute
		for g := range glands {
			id := "p" + strconv.Itoa(g)
			observeMinute(s, id, start, g)
			if (m+45*g)%360 == 0 {
				mustCommit(t, s, Batch{
					Events: []Event{{Stamp: stampAt(start), Kind: "transition", Payload: make([]byte, 400)}},
					States: []State{{Key: id + "/dry", Stamp: stampAt(start), Payload: make([]byte, 200)}},
				})
			}
		}
		if m%5 == 4 {
			if err := s.Heartbeat(stampAt(start)); err != nil {
				t.Fatal(err)
			}
		}
		if m%10 == 9 {
			if err := s.Flush(t.Context(), stampAt(start+time.Minute)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := s.Maintain(t.Context(), stampAt(day)); err != nil {
		t.Fatal(err)
	}
	each := 4 * (written(t) - before) / glands
	u, err := s.Usage(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("written %d kB a gland and day; kept of it %d kB", each/1000, 4*u.Bytes/glands/1000)
	if each > 1_500_000 {
		t.Errorf("%d bytes written a gland and day", each)
	}
}

func observeMinute(s *Store, gland string, start time.Duration, seed int) {
	at := stampAt(start).Steady
	for i := range 30 {
		jitter := time.Duration((seed+i*7919)%997) * 100 * time.Microsecond
		s.AddReadings(reading.Reading{At: at + time.Duration(i)*2*time.Second + jitter, Point: reading.Point{Gland: gland}, Value: 1})
		s.Observe(gland+".dpm", noon.Add(start+time.Duration(i)*2*time.Second), 30+float64((seed+i)%5)/3)
		s.Observe(gland+".rise_c", noon.Add(start+time.Duration(i)*2*time.Second), 12+float64((seed+i)%7)/16)
	}
	for i := range 6 {
		t := at + time.Duration(i)*10*time.Second
		s.AddReadings(
			reading.Reading{At: t, Point: reading.Point{Gland: gland, Kind: reading.Temp}, Value: 41 + float64((seed+i)%9)/16},
			reading.Reading{At: t, Point: reading.Point{Gland: gland, Kind: reading.Ref}, Value: 20 + float64((seed+i)%3)/16})
	}
}

func written(t *testing.T) int64 {
	t.Helper()
	data, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(data)) {
		if text, found := strings.CutPrefix(line, "wchar: "); found {
			n, err := strconv.ParseInt(strings.TrimSpace(text), 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
	}
	t.Fatal("no wchar in /proc/self/io")
	return 0
}
