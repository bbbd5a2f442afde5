package agent

import (
	"context"
	"testing"

	"pgregory.net/rapid"
)

// modelJournal keeps everything and answers the naive way.
type modelJournal struct {
	events  []Event
	deleted uint64
}

func (m *modelJournal) kept(limit int) []Event { return m.events[max(0, len(m.events)-limit):] }

func after(events []Event, seq uint64, limit int) (out []uint64) {
	for _, e := range events {
		if e.Seq > seq && len(out) < limit {
			out = append(out, e.Seq)
		}
	}
	return out
}

func seqs(events []Event) (out []uint64) {
	for _, e := range events {
		out = append(out, e.Seq)
	}
	return out
}

func TestMemoryJournalAgainstModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := rapid.IntRange(1, 8).Draw(t, "limit")
		j, m := NewMemoryJournal(limit, true), &modelJournal{}
		ctx := context.Background()
		same := func(what string, got []Event, want []uint64) {
			t.Helper()
			g := seqs(got)
			if len(g) != len(want) {
				t.Fatalf("%s: %v, want %v", what, g, want)
			}
			for i := range g {
				if g[i] != want[i] {
					t.Fatalf("%s: %v, want %v", what, g, want)
				}
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"commit": func(t *rapid.T) {
				n := rapid.IntRange(0, 5).Draw(t, "n")
				batch := &Batch{Events: make([]Event, n)}
				j.Commit(ctx, batch)
				stored := batch.Events
				for range n {
					m.events = append(m.events, Event{Seq: uint64(len(m.events) + 1)})
				}
				same("stored", stored, seqs(m.events[len(m.events)-n:]))
			},
			"delete": func(t *rapid.T) {
				upTo := rapid.Uint64Range(0, uint64(len(m.events))).Draw(t, "upTo")
				_ = j.Delete(ctx, upTo)
				m.deleted = max(m.deleted, upTo)
			},
			"read": func(t *rapid.T) {
				from := rapid.Uint64Range(0, uint64(len(m.events)+2)).Draw(t, "from")
				n := rapid.IntRange(0, 10).Draw(t, "limit")
				events, _ := j.Events(ctx, from, n)
				same("events", events, after(m.kept(limit), from, n))
				pending, _ := j.Pending(ctx, from, n)
				same("pending", pending, after(m.kept(limit), max(from, m.deleted), n))
			},
			"": func(t *rapid.T) {
				want := len(after(m.kept(limit), m.deleted, limit))
				if got := j.OutboxPending(); got != want {
					t.Fatalf("pending %d, want %d", got, want)
				}
			},
		})
	})
}
