package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"weepd/agent"
)

// seen collects what a look shows of a.dpm, as `minute mean count`.
func seen(t *testing.T, dir string, from, to time.Time) (aggregates, events []string, err error) {
	t.Helper()
	err = LookAt(t.Context(), dir, func(l *Look) error {
		aggregates, events = nil, nil
		list, err := l.Events(t.Context(), 0, 1000)
		if err != nil {
			return err
		}
		for _, e := range list {
			events = append(events, fmt.Sprint(e.Seq, e.Kind))
		}
		return l.EachAggregate(t.Context(), from, to, func(name string, a agent.Aggregate) error {
			if name == "a.dpm" {
				aggregates = append(aggregates, fmt.Sprintf("%s %s %g %d", a.Start.Format("15:04"), a.Period, a.Mean, a.Count))
			}
			return nil
		})
	})
	return aggregates, events, err
}

// TestLookBesideAWriter: a store that is open elsewhere, and locked, is read as
// it stands, with what is in the write-ahead log only.
func TestLookBesideAWriter(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	begin := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	add := func(minute int, dpm float64) {
		at := begin.Add(time.Duration(minute) * time.Minute)
		for i := range 60 {
			s.Observe("a.dpm", at.Add(time.Duration(i)*time.Second), dpm)
		}
		if err := s.FlushAll(ctx, Stamp{Wall: at.Add(time.Minute), Steady: time.Duration(minute) * time.Minute}); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Commit(ctx, Batch{Events: []Event{{Stamp: Stamp{Wall: at}, Kind: "alarm", Payload: []byte(`{"kind":"alarm","message":"x"}`)}}}); err != nil {
			t.Fatal(err)
		}
	}
	add(0, 30)
	add(1, 31)
	aggregates, events, err := seen(t, dir, begin, begin.Add(time.Hour))
	if err != nil || fmt.Sprint(aggregates) != "[08:00 1m0s 30 60 08:01 1m0s 31 60]" || fmt.Sprint(events) != "[1alarm 2alarm]" {
		t.Errorf("%v %v %v", aggregates, events, err)
	}
	add(2, 32)
	aggregates, _, err = seen(t, dir, begin.Add(time.Minute), begin.Add(2*time.Minute))
	if err != nil || fmt.Sprint(aggregates) != "[08:01 1m0s 31 60]" {
		t.Errorf("bounds: %v %v", aggregates, err)
	}
	add(3, 33) // the writer was not disturbed
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if aggregates, events, err = seen(t, dir, begin, begin.Add(time.Hour)); err != nil || len(aggregates) != 4 || len(events) != 4 {
		t.Errorf("closed: %v %v %v", aggregates, events, err)
	}
}

// TestLookAgainAfterAWrite: what was read while somebody wrote does not count.
func TestLookAgainAfterAWrite(t *testing.T) {
	dir, ctx := t.TempDir(), t.Context()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	begin := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	flush := func(minute int) {
		at := begin.Add(time.Duration(minute) * time.Minute)
		s.Observe("a.dpm", at, 30)
		if err := s.FlushAll(ctx, Stamp{Wall: at}); err != nil {
			t.Fatal(err)
		}
	}
	flush(0)
	looks, found := 0, 0
	err = LookAt(ctx, dir, func(l *Look) error {
		looks++
		found = 0
		if looks == 1 {
			flush(1)
			return errors.New("torn")
		}
		return l.EachAggregate(ctx, begin, begin.Add(time.Hour), func(string, agent.Aggregate) error { found++; return nil })
	})
	if err != nil || looks != 2 || found != 2 {
		t.Errorf("%d looks, %d minutes, %v", looks, found, err)
	}
}

func TestLookRefuses(t *testing.T) {
	dir := t.TempDir()
	_, _, err := seen(t, dir, time.Unix(0, 0), time.Now())
	if err == nil || !strings.Contains(err.Error(), "holds no store") {
		t.Errorf("%v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, journalFile), []byte("no database at all, but long enough to be looked at"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err = seen(t, dir, time.Unix(0, 0), time.Now()); !errors.Is(err, ErrCorrupt) {
		t.Errorf("%v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := LookAt(ctx, dir, func(*Look) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// TestUnread: what belongs to another user is told as that, whatever it is for
// one who writes.
func TestUnread(t *testing.T) {
	denied := &fs.PathError{Op: "open", Path: "journal.db", Err: fs.ErrPermission}
	if err := unread(denied); !errors.Is(err, ErrUnread) || errors.Is(err, ErrReadOnly) {
		t.Errorf("%v", err)
	}
	if err := unread(&fs.PathError{Op: "read", Path: "journal.db", Err: syscall.EIO}); !errors.Is(err, ErrIO) {
		t.Errorf("%v", err)
	}
}

// TestLookLeavesNoTrace: the folder is as it was, and a read-only one is read.
func TestLookLeavesNoTrace(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.Observe("a.dpm", time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), 30)
	if err := s.FlushAll(t.Context(), Stamp{}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	names := func() (list []string) {
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			list = append(list, e.Name())
		}
		return list
	}
	before := names()
	if aggregates, _, err := seen(t, dir, time.Unix(0, 0), time.Now()); err != nil || len(aggregates) != 1 {
		t.Errorf("%v %v", aggregates, err)
	}
	if after := names(); fmt.Sprint(after) != fmt.Sprint(before) {
		t.Errorf("%v, before %v", after, before)
	}
}

// TestLookAfterACutWrite: beside a journal of a write that was cut off the
// history is read from a copy, where SQLite undoes it.
func TestLookAfterACutWrite(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s.Observe("a.dpm", time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), 30)
	if err := errors.Join(s.FlushAll(t.Context(), Stamp{}), s.Close()); err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(dir, historyFile+"-journal")
	if err := os.WriteFile(left, []byte("cut off before its header was whole"), 0o600); err != nil {
		t.Fatal(err)
	}
	if aggregates, _, err := seen(t, dir, time.Unix(0, 0), time.Now()); err != nil || len(aggregates) != 1 {
		t.Errorf("%v %v", aggregates, err)
	}
	if data, err := os.ReadFile(left); err != nil || len(data) == 0 {
		t.Errorf("the journal beside it was touched: %q %v", data, err)
	}
}
