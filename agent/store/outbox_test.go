package store

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// outboxModel is a store beside a plain list of what is undelivered.
type outboxModel struct {
	dir     string
	opts    Options
	failAt  int // the number of writes until one fails
	store   *Store
	pending []int64
	last    int64
}

func (m *outboxModel) ask(string) error {
	if m.failAt--; m.failAt == -1 {
		return errInjected
	}
	return nil
}

func (m *outboxModel) commit(t *rapid.T) {
	m.failAt = rapid.IntRange(-1, 8).Draw(t, "fault")
	n := rapid.IntRange(0, 4).Draw(t, "events")
	seqs, err := m.store.Commit(context.Background(), Batch{Events: events(n, 0)})
	m.failAt = -1
	switch {
	case err == nil:
		m.pending, m.last = append(m.pending, seqs...), m.last+int64(n)
	case !errors.Is(err, errInjected):
		t.Fatal(err)
	}
}

func (m *outboxModel) deliver(t *rapid.T) {
	upto := rapid.Int64Range(0, m.last).Draw(t, "upto")
	if err := m.store.Delete(context.Background(), upto); err != nil {
		t.Fatal(err)
	}
	m.pending = slices.DeleteFunc(m.pending, func(seq int64) bool { return seq <= upto })
}

func (m *outboxModel) reopen(t *rapid.T) {
	if m.store != nil {
		if err := m.store.Close(); err != nil {
			t.Fatal(err)
		}
	}
	var err error
	if m.store, err = Open(m.dir, m.opts); err != nil {
		t.Fatal(err)
	}
	if err := relax(m.store); err != nil {
		t.Fatal(err)
	}
}

// TestOutboxAgainstModel compares the outbox with a plain list under random
// commits, deliveries, injected faults and restarts.
func TestOutboxAgainstModel(t *testing.T) {
	root, round := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		round++
		m := &outboxModel{dir: filepath.Join(root, strconv.Itoa(round)), failAt: -1}
		m.opts = Options{Fault: m.ask}
		m.reopen(t)
		for range rapid.IntRange(1, 25).Draw(t, "steps") {
			switch rapid.SampledFrom([]string{"commit", "commit", "deliver", "reopen"}).Draw(t, "step") {
			case "commit":
				m.commit(t)
			case "deliver":
				m.deliver(t)
			default:
				m.reopen(t)
			}
			checkPending(t, m.store, m.pending, m.last)
		}
		if err := m.store.Close(); err != nil {
			t.Fatal(err)
		}
	})
}

func checkPending(t *rapid.T, s *Store, want []int64, last int64) {
	list, err := s.Pending(context.Background(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var got []int64
	for _, e := range list {
		got = append(got, e.Seq)
	}
	if !slices.Equal(got, want) || s.OutboxLen() != int64(len(want)) || s.LastSeq() != last {
		t.Fatalf("pending %v (%d), newest %d; want %v, newest %d", got, s.OutboxLen(), s.LastSeq(), want, last)
	}
}

// TestUsedFromManySides: the loop commits, the publisher drains, the page
// reads and the history is flushed, all at once.
func TestUsedFromManySides(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	const rounds = 60
	var wg sync.WaitGroup
	for _, work := range []func(i int) error{
		func(int) error {
			_, err := s.Commit(t.Context(), Batch{Events: events(2, 0)})
			return err
		},
		func(int) error { return s.Delete(t.Context(), s.LastSeq()) },
		func(int) error {
			_, err := s.Pending(t.Context(), 0, 10)
			return err
		},
		func(i int) error {
			addReadings(s, time.Duration(i)*time.Minute, 20)
			s.Observe("p1.dpm", noon.Add(time.Duration(i)*time.Minute), 30)
			return s.Flush(t.Context(), stampAt(time.Duration(i+1)*time.Minute))
		},
		func(int) error {
			_, _, err := s.Samples(t.Context(), "p1.dpm", noon, noon.Add(time.Hour), 100)
			return err
		},
		func(int) error {
			return s.Readings(t.Context(), noon, noon.Add(day), func(Recorded) error { return nil })
		},
		func(i int) error { return s.Maintain(t.Context(), stampAt(time.Duration(i)*time.Minute)) },
	} {
		wg.Go(func() {
			for i := range rounds {
				if err := work(i); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	checkContiguous(t, s)
	if s.LastSeq() != 2*rounds {
		t.Errorf("newest event %d", s.LastSeq())
	}
}
