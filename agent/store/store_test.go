package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir)
		return
	}
	goleak.VerifyTestMain(m)
}

// noon is a fixed start; steady time runs beside the wall clock.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func stampAt(d time.Duration) Stamp {
	return Stamp{Wall: noon.Add(d), Steady: time.Duration(noon.UnixNano()) + d}
}

func mustOpen(t testing.TB, dir string, opts Options) *Store {
	t.Helper()
	s, err := Open(dir, opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// relax spares a test whose subject is not the disk the waiting for it.
func relax(s *Store) error {
	for _, d := range []*database{s.journal.database, s.history.db} {
		if _, err := d.ExecContext(context.Background(), "PRAGMA synchronous=OFF"); err != nil {
			return err
		}
	}
	return nil
}

func mustRelax(t *testing.T, s *Store) {
	t.Helper()
	if err := relax(s); err != nil {
		t.Fatal(err)
	}
}

func mustClose(t testing.TB, s *Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func events(n int, from time.Duration) []Event {
	list := make([]Event, n)
	for i := range list {
		at := stampAt(from + time.Duration(i)*time.Second)
		list[i] = Event{Stamp: at, Kind: "transition", Payload: fmt.Appendf(nil, `{"n":%d}`, i)}
	}
	return list
}

func mustCommit(t testing.TB, s *Store, b Batch) []int64 {
	t.Helper()
	seqs, err := s.Commit(t.Context(), b)
	if err != nil {
		t.Fatal(err)
	}
	return seqs
}

func sameEvent(a, b Event) bool {
	return a.Seq == b.Seq && a.Wall.Equal(b.Wall) && a.Steady == b.Steady && a.Kind == b.Kind && string(a.Payload) == string(b.Payload)
}

func TestBatchSurvivesReopening(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	want := events(3, 0)
	seqs := mustCommit(t, s, Batch{
		Events:  want,
		States:  []State{{Key: "p1/dry", Stamp: stampAt(1), Payload: []byte(`{"state":"shelved"}`)}, {Key: "p2/dry", Stamp: stampAt(1), Payload: []byte("{}")}},
		Upkeep:  []Upkeep{{Gland: "p1", Stamp: stampAt(2), Payload: []byte("flat")}, {Gland: "p2", Stamp: stampAt(3), Payload: []byte("ring")}},
		Replies: []Reply{{ID: "c1", Stamp: stampAt(3), Payload: []byte(`{"ok":true}`)}},
	})
	if !slices.Equal(seqs, []int64{1, 2, 3}) {
		t.Fatalf("seqs %v", seqs)
	}
	mustCommit(t, s, Batch{States: []State{{Key: "p2/dry"}}})
	mustClose(t, s)

	s = mustOpen(t, dir, Options{})
	got, err := s.Events(t.Context(), 0, 10)
	for i := range want {
		want[i].Seq = int64(i + 1)
	}
	if err != nil || !slices.EqualFunc(got, want, sameEvent) {
		t.Errorf("events %+v, %v", got, err)
	}
	checkRest(t, s)
}

func checkRest(t *testing.T, s *Store) {
	t.Helper()
	states, err := s.States(t.Context())
	if err != nil || len(states) != 1 || states[0].Key != "p1/dry" || string(states[0].Payload) != `{"state":"shelved"}` {
		t.Errorf("states %+v, %v", states, err)
	}
	log, err := s.UpkeepLog(t.Context(), "p2", 0, 10)
	if err != nil || len(log) != 1 || string(log[0].Payload) != "ring" || log[0].Steady != stampAt(3).Steady {
		t.Errorf("upkeep %+v, %v", log, err)
	}
	if all, err := s.UpkeepLog(t.Context(), "", 0, 10); err != nil || len(all) != 2 {
		t.Errorf("upkeep %+v, %v", all, err)
	}
	reply, done, err := s.Done(t.Context(), "c1")
	if err != nil || !done || string(reply.Payload) != `{"ok":true}` {
		t.Errorf("reply %+v, %v, %v", reply, done, err)
	}
	if _, done, err = s.Done(t.Context(), "c2"); done || err != nil {
		t.Errorf("an unknown command is done: %v", err)
	}
}

func TestCommandIDIsDoneOnce(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	b := Batch{Events: events(1, 0), Replies: []Reply{{ID: "c1"}}}
	mustCommit(t, s, b)
	if _, err := s.Commit(t.Context(), b); err == nil {
		t.Error("the same command was stored twice")
	}
	if s.LastSeq() != 1 {
		t.Errorf("a refused batch left event %d", s.LastSeq())
	}
	if seqs := mustCommit(t, s, Batch{Events: events(1, 0)}); seqs[0] != 2 {
		t.Errorf("seq %d after a refused batch", seqs[0])
	}
}

func TestOutbox(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	mustCommit(t, s, Batch{Events: events(5, 0)})
	for _, upto := range []int64{2, 1, 2} { // an older seq changes nothing
		if err := s.Delete(t.Context(), upto); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Delete(t.Context(), 6); err == nil {
		t.Error("an event that does not exist was delivered")
	}
	mustClose(t, s)
	s = mustOpen(t, dir, Options{})
	pending, err := s.Pending(t.Context(), 0, 2)
	if err != nil || len(pending) != 2 || pending[0].Seq != 3 || s.OutboxLen() != 3 || s.Delivered() != 2 {
		t.Errorf("pending %+v of %d, %v", pending, s.OutboxLen(), err)
	}
	if rest, err := s.Pending(t.Context(), 4, 9); err != nil || len(rest) != 1 || rest[0].Seq != 5 {
		t.Errorf("after 4: %+v, %v", rest, err)
	}
}

func TestWithoutOutboxNothingWaits(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{NoOutbox: true})
	mustCommit(t, s, Batch{Events: events(3, 0)})
	if s.OutboxLen() != 0 || s.Delivered() != 3 {
		t.Errorf("%d wait, delivered up to %d", s.OutboxLen(), s.Delivered())
	}
}

func TestSecondAgentIsKeptOut(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	mustCommit(t, s, Batch{Events: events(1, 0)})
	if _, err := Open(dir, Options{}); !errors.Is(err, ErrBusy) {
		t.Fatalf("got %v", err)
	}
	mustCommit(t, s, Batch{Events: events(1, 0)})
}

func TestNewerVersionIsRefusedAndLeftAlone(t *testing.T) {
	for _, file := range []string{journalFile, historyFile} {
		dir := t.TempDir()
		mustClose(t, mustOpen(t, dir, Options{}))
		db, err := openDatabase(filepath.Join(dir, file), modeOften, func(string) error { return nil })
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.ExecContext(t.Context(), "PRAGMA user_version=99"); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err = Open(dir, Options{}); !errors.Is(err, ErrNewer) {
			t.Errorf("%s: got %v", file, err)
		}
		if kept, _ := filepath.Glob(filepath.Join(dir, "*.damaged*")); kept != nil {
			t.Errorf("%s was set aside: %v", file, kept)
		}
	}
}

func TestLastSeen(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	if _, ok := s.LastSeen(); ok {
		t.Error("a new store was seen before")
	}
	mustCommit(t, s, Batch{Events: events(1, time.Hour)})
	mustClose(t, s)
	for i, want := range []time.Duration{time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour} {
		s = mustOpen(t, dir, Options{})
		if got, ok := s.LastSeen(); !ok || !got.Wall.Equal(stampAt(want).Wall) || got.Steady != stampAt(want).Steady {
			t.Errorf("start %d: last seen %+v, %v", i, got, ok)
		}
		if err := s.Heartbeat(stampAt(want + time.Hour)); err != nil {
			t.Fatal(err)
		}
		mustClose(t, s)
	}
}

func TestTornHeartbeatLeavesTheOneBefore(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	for i := range 3 {
		if err := s.Heartbeat(stampAt(time.Duration(i) * time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	mustClose(t, s)
	f, err := os.OpenFile(filepath.Join(dir, aliveName), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte{0xff}, aliveSlot+9); err != nil { // number 3 lies in slot 1
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	s = mustOpen(t, dir, Options{})
	if got, ok := s.LastSeen(); !ok || !got.Wall.Equal(stampAt(time.Minute).Wall) {
		t.Errorf("last seen %+v, %v", got, ok)
	}
}

func TestReopeningIsNotClosedTwice(t *testing.T) {
	s := mustOpen(t, t.TempDir(), Options{})
	mustClose(t, s)
	mustClose(t, s)
	if _, err := s.Commit(context.Background(), Batch{Events: events(1, 0)}); !errors.Is(err, ErrClosed) {
		t.Errorf("got %v", err)
	}
}

func TestFilesAreSetUpAsMeant(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	for d, want := range map[*database]string{s.journal.database: "wal", s.history.db: "truncate"} {
		var mode, vacuum, sync, lock string
		for name, value := range map[string]*string{"journal_mode": &mode, "auto_vacuum": &vacuum, "synchronous": &sync, "locking_mode": &lock} {
			if err := d.QueryRowContext(t.Context(), "PRAGMA "+name).Scan(value); err != nil {
				t.Fatal(err)
			}
		}
		if mode != want || vacuum != "2" || sync != "2" || lock != "exclusive" { // incremental, full
			t.Errorf("mode %s, vacuum %s, synchronous %s, lock %s", mode, vacuum, sync, lock)
		}
	}
	if shm, _ := filepath.Glob(filepath.Join(dir, "*-shm")); shm != nil {
		t.Errorf("shared memory: %v", shm)
	}
}

// TestRelativeFolder: a folder named without a slash is one here.
func TestRelativeFolder(t *testing.T) {
	t.Chdir(t.TempDir())
	s, err := Open("kept", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := LookAt(t.Context(), "kept", func(*Look) error { return nil }); err != nil {
		t.Fatal(err)
	}
}
