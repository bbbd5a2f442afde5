package store

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// filled makes a closed store with 200 events, of which 50 are delivered.
func filled(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	mustCommit(t, s, Batch{
		Events: events(200, 0),
		States: []State{{Key: "a", Payload: []byte("1")}, {Key: "b", Payload: []byte("2")}},
		Upkeep: []Upkeep{{Gland: "p1", Payload: []byte("flat")}},
	})
	if err := s.Delete(t.Context(), 50); err != nil {
		t.Fatal(err)
	}
	addReadings(s, 0, 3000)
	s.Observe("p1.dpm", noon, 30)
	if err := s.FlushAll(t.Context(), stampAt(time.Hour)); err != nil {
		t.Fatal(err)
	}
	mustClose(t, s)
	return dir
}

func overwrite(t *testing.T, path string, at int64, data []byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt(data, at); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestDamagedJournalIsSetAside(t *testing.T) {
	dir := filled(t)
	overwrite(t, filepath.Join(dir, journalFile), 0, make([]byte, 100)) // the header
	s := mustOpen(t, dir, Options{Now: func() time.Time { return noon }})
	aside := s.Aside()
	if len(aside) != 1 || aside[0].Kept != "journal.db.damaged-20260301T120000Z" || !errors.Is(aside[0].Cause, ErrCorrupt) {
		t.Fatalf("aside %+v", aside)
	}
	if !strings.Contains(aside[0].String(), "set aside as journal.db.damaged-20260301T120000Z") {
		t.Errorf("it says %s", aside[0])
	}
	seqs := mustCommit(t, s, Batch{Events: events(1, 0)})
	if seqs[0] <= 200 {
		t.Errorf("seq %d was used before", seqs[0])
	}
	mustClose(t, s)
	s = mustOpen(t, dir, Options{})
	if s.Aside() != nil || s.LastSeq() != seqs[0] || s.OutboxLen() != 1 {
		t.Errorf("opened again: %v, seq %d, %d pending", s.Aside(), s.LastSeq(), s.OutboxLen())
	}
}

// TestUndeliveredEventsAreSavedFromADamagedJournal flips one bit of one
// payload: all other undelivered events keep their seq.
func TestUndeliveredEventsAreSavedFromADamagedJournal(t *testing.T) {
	dir := filled(t)
	path := filepath.Join(dir, journalFile)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := strings.Index(string(data), `{"n":120}`)
	overwrite(t, path, int64(at+6), []byte("9"))
	s := mustOpen(t, dir, Options{})
	if len(s.Aside()) != 1 || s.Aside()[0].Saved != 149+2+1 {
		t.Fatalf("aside %+v", s.Aside())
	}
	if s.OutboxLen() != 149 {
		t.Errorf("%d pending", s.OutboxLen())
	}
	seqs := mustCommit(t, s, Batch{Events: events(1, 0)})
	pending, err := s.Pending(t.Context(), 0, 1000)
	if err != nil || len(pending) != 150 || pending[0].Seq != 51 || pending[149].Seq != seqs[0] {
		t.Fatalf("%d pending, %v", len(pending), err)
	}
	for _, e := range pending {
		if e.Seq == 121 {
			t.Errorf("the changed event was kept: %s", e.Payload)
		}
	}
	if states, err := s.States(t.Context()); err != nil || len(states) != 2 {
		t.Errorf("states %v, %v", states, err)
	}
	if err := s.Delete(t.Context(), 130); err != nil {
		t.Fatal(err)
	}
	mustClose(t, s)
	s = mustOpen(t, dir, Options{})
	if s.Aside() != nil || s.OutboxLen() != 71 {
		t.Errorf("opened again: %v, %d pending", s.Aside(), s.OutboxLen())
	}
}

func TestDeletedOrOldJournalNeverRepeatsASeq(t *testing.T) {
	dir := filled(t)
	old := copyDir(t, dir)
	s := mustOpen(t, dir, Options{})
	for range 50 {
		mustCommit(t, s, Batch{Events: events(100, 0)})
	}
	last := s.LastSeq()
	mustClose(t, s)
	for _, spoil := range []func() error{
		func() error {
			return os.Rename(filepath.Join(old, journalFile), filepath.Join(dir, journalFile))
		},
		func() error { return os.Remove(filepath.Join(dir, journalFile)) },
	} {
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		s := mustOpen(t, dir, Options{})
		if seqs := mustCommit(t, s, Batch{Events: events(1, 0)}); seqs[0] <= last {
			t.Errorf("seq %d was used before, up to %d", seqs[0], last)
		}
		last = s.LastSeq()
		mustClose(t, s)
		s = mustOpen(t, dir, Options{})
		if s.Aside() != nil || s.LastSeq() != last {
			t.Errorf("opened again: %v, %d", s.Aside(), s.LastSeq())
		}
		mustClose(t, s)
	}
}

func TestWithoutAnyNumberTheClockGivesOne(t *testing.T) {
	dir := filled(t)
	overwrite(t, filepath.Join(dir, journalFile), 0, make([]byte, 100))
	overwrite(t, filepath.Join(dir, seqName), 3, []byte("x"))
	s := mustOpen(t, dir, Options{Now: func() time.Time { return noon }})
	if s.LastSeq() != noon.Unix() {
		t.Errorf("goes on after %d", s.LastSeq())
	}
}

func TestHistoryDamagedWhileRunningIsReplaced(t *testing.T) {
	dir := t.TempDir()
	bad := false
	s := mustOpen(t, dir, Options{Fault: func(word string) error {
		if bad && word == FaultCommit {
			bad = false
			return ErrCorrupt
		}
		return nil
	}})
	want := addReadings(s, 0, 100)
	bad = true
	if err := s.Flush(t.Context(), stampAt(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if len(s.Aside()) != 1 || s.Aside()[0].File != historyFile {
		t.Fatalf("aside %v", s.Aside())
	}
	if got := recorded(t, s, noon, noon.Add(time.Hour)); len(got) != len(want) {
		t.Errorf("%d of %d readings", len(got), len(want))
	}
}

// TestDamageAnywhereNeverPanics overwrites, cuts and zeroes stretches at
// random offsets of every file; the store opens, works, and never uses a seq
// twice.
func TestDamageAnywhereNeverPanics(t *testing.T) {
	source := filled(t)
	rng := rand.New(rand.NewPCG(1, 2))
	aside := 0
	for round := range 120 {
		dir := copyDir(t, source)
		if round%3 == 0 { // as after a crash: history is then looked through
			markUnclean(t, dir)
		}
		name := []string{journalFile, historyFile, historyFile, journalFile, seqName, aliveName}[round%6]
		damage(t, filepath.Join(dir, name), rng)
		s, err := Open(dir, Options{})
		if errors.Is(err, ErrNewer) {
			continue // the version number was hit
		}
		if err != nil {
			t.Fatalf("round %d, %s: %v", round, name, err)
		}
		aside += len(s.Aside())
		exercise(t, s, round)
		mustCloseOr(t, s, ErrCorrupt)
	}
	if aside < 20 {
		t.Errorf("only %d damaged files were noticed", aside)
	}
}

func markUnclean(t *testing.T, dir string) {
	t.Helper()
	db, err := openDatabase(filepath.Join(dir, historyFile), modeSeldom, func(string) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(t.Context(), "UPDATE meta SET value=0"); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func damage(t *testing.T, path string, rng *rand.Rand) {
	t.Helper()
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Size() == 0 {
		return
	}
	at := rng.Int64N(info.Size())
	switch rng.IntN(3) {
	case 0:
		if err := os.Truncate(path, at); err != nil {
			t.Fatal(err)
		}
	case 1:
		overwrite(t, path, at, make([]byte, 1+rng.IntN(5000)))
	default:
		junk := make([]byte, 1+rng.IntN(300))
		for i := range junk {
			junk[i] = byte(rng.Uint32())
		}
		overwrite(t, path, at, junk)
	}
}

// exercise uses everything; reading history may find the damage only now.
func exercise(t *testing.T, s *Store, round int) {
	t.Helper()
	seqs := mustCommit(t, s, Batch{Events: events(1, 0), States: []State{{Key: "c", Payload: []byte("3")}}})
	if seqs[0] <= 200 {
		t.Errorf("round %d: seq %d was used before", round, seqs[0])
	}
	if _, err := s.Pending(t.Context(), 0, 1000); err != nil {
		t.Errorf("round %d: pending: %v", round, err)
	}
	if err := s.Delete(t.Context(), seqs[0]); err != nil {
		t.Errorf("round %d: %v", round, err)
	}
	addReadings(s, 2*time.Hour, 10)
	_, _, errSamples := s.Samples(t.Context(), "p1.dpm", noon, noon.Add(time.Hour), 10)
	_, errEvents := s.Events(t.Context(), 0, 1000) // delivered ones are not looked at when opening
	for _, err := range []error{
		s.Readings(t.Context(), noon, noon.Add(time.Hour), func(Recorded) error { return nil }),
		errSamples, errEvents, s.Flush(t.Context(), stampAt(3*time.Hour)), s.Maintain(t.Context(), stampAt(24*9*time.Hour)),
	} {
		if err != nil && !errors.Is(err, ErrCorrupt) && !errors.Is(err, ErrNewer) {
			t.Errorf("round %d: %v", round, err)
		}
	}
}

func mustCloseOr(t *testing.T, s *Store, allowed error) {
	t.Helper()
	if err := s.Close(); err != nil && !errors.Is(err, allowed) {
		t.Error(err)
	}
}
