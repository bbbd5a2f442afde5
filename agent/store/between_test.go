package store

import (
	"fmt"
	"testing"
	"time"

	"weepd/agent"
)

func TestBetweenGivesTheNewestOfATimeAndGland(t *testing.T) {
	k := keep(t, t.TempDir(), Options{})
	ledger := agent.NewLedger(k, false, k.log)
	for i := range 20 {
		at := time.Duration(i) * time.Minute
		e := agent.Event{Time: stampAt(at).Wall, At: at, Kind: agent.EventAlarm, Gland: fmt.Sprintf("g%d", i%2), Message: `"gland":"g1"`}
		ledger.Commit(t.Context(), &agent.Batch{At: agentStamp(at), Events: []agent.Event{e}})
	}
	at := func(minute int) time.Time { return stampAt(time.Duration(minute) * time.Minute).Wall }
	for _, c := range []struct {
		ask   agent.Happened
		limit int
		want  string
	}{
		{agent.Happened{From: at(3), To: at(7)}, 10, "[7 6 5 4]"},
		{agent.Happened{From: at(3), To: at(7)}, 2, "[7 6]"},
		{agent.Happened{Gland: "g1", From: at(0), To: at(6)}, 10, "[6 4 2]"},
		{agent.Happened{Gland: "g", From: at(0), To: at(99)}, 10, "[]"},
		{agent.Happened{From: at(90), To: at(99)}, 10, "[]"},
	} {
		events, err := ledger.Between(t.Context(), c.ask, c.limit)
		if err != nil {
			t.Fatal(err)
		}
		seqs := []uint64{}
		for _, e := range events {
			seqs = append(seqs, e.Seq)
		}
		if got := fmt.Sprint(seqs); got != c.want {
			t.Errorf("%+v: %s, want %s", c.ask, got, c.want)
		}
	}
}

// Whole parts that are too old end the search; a gap in the numbers does not.
func TestBetweenLooksThroughParts(t *testing.T) {
	s, err := Open(t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	commit := func(first int64, count int, at time.Duration) {
		t.Helper()
		var b Batch
		for i := range count {
			b.Events = append(b.Events, Event{Seq: first + int64(i), Stamp: stampAt(at + time.Duration(i)*time.Second), Kind: "alarm", Payload: []byte("x")})
		}
		if _, err := s.Commit(t.Context(), b); err != nil {
			t.Fatal(err)
		}
	}
	commit(1, 50, 0)                          // old
	commit(2_000_000_000, 5000, 24*time.Hour) // after a gap
	commit(2_000_005_000, 10, time.Minute)    // the clock was set back for a while
	commit(2_000_005_010, 50, 48*time.Hour)   // young
	for _, c := range []struct {
		from, to time.Duration
		want     int
	}{{48 * time.Hour, 72 * time.Hour, 50}, {24 * time.Hour, 72 * time.Hour, 5050}, {0, time.Hour, 60}, {0, 72 * time.Hour, 5110}, {80 * time.Hour, 90 * time.Hour, 0}} {
		list, err := s.Between(t.Context(), stampAt(c.from).Wall, stampAt(c.to).Wall, "", 10_000)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) != c.want {
			t.Errorf("%s to %s: %d events, want %d", c.from, c.to, len(list), c.want)
		}
		for i := 1; i < len(list); i++ {
			if list[i].Seq >= list[i-1].Seq {
				t.Fatalf("%d after %d", list[i].Seq, list[i-1].Seq)
			}
		}
	}
}

func TestKeeperGivesSamples(t *testing.T) {
	k := keep(t, t.TempDir(), Options{})
	start := stampAt(0).Wall.Truncate(time.Hour)
	for i := range 120 {
		k.Observe("a.dpm", start.Add(time.Duration(i)*30*time.Second), float64(i))
	}
	samples, step, err := k.Samples(t.Context(), "a.dpm", start, start.Add(time.Hour), 12)
	if err != nil || step != 5*time.Minute || len(samples) != 12 {
		t.Fatalf("%d samples of %s, error %v; want 12 of 5m", len(samples), step, err)
	}
	if want := (agent.Sample{Start: start.Add(5 * time.Minute), Min: 10, Mean: 14.5, Max: 19}); samples[1] != want {
		t.Errorf("%+v, want %+v", samples[1], want)
	}
}
