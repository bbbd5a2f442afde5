package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

var errInjected = errors.New("injected")

// TestEveryWriteFailsOnce makes each write of a run fail in turn: the error
// comes out, nothing is half done, and the same call made again succeeds.
func TestEveryWriteFailsOnce(t *testing.T) {
	words := make(map[string]bool)
	for n := 0; ; n++ {
		f := &failing{at: n}
		s := mustOpen(t, t.TempDir(), Options{Fault: f.ask})
		want := addReadings(s, 0, 60)
		f.armed = true
		runWithRetry(t, s, f)
		f.armed = false
		words[f.word] = true
		checkContiguous(t, s)
		if s.LastSeq() != 2 || s.OutboxLen() != 1 {
			t.Fatalf("write %d: newest %d, %d pending", n, s.LastSeq(), s.OutboxLen())
		}
		if got := recorded(t, s, noon, noon.Add(time.Hour)); len(got) != len(want) {
			t.Fatalf("write %d: %d of %d readings", n, len(got), len(want))
		}
		mustClose(t, s)
		if f.word == "" {
			break
		}
	}
	for _, word := range []string{FaultBegin, FaultExec, FaultCommit, FaultReserve, FaultAlive} {
		if !words[word] {
			t.Errorf("%q never came to the seam", word)
		}
	}
}

// failing makes the write with the given number fail, once.
type failing struct {
	at, count int
	armed     bool
	word      string // what failed
}

func (f *failing) ask(word string) error {
	if !f.armed {
		return nil
	}
	if f.count++; f.count == f.at+1 {
		f.word = word
		return errInjected
	}
	return nil
}

func runWithRetry(t *testing.T, s *Store, f *failing) {
	t.Helper()
	for i, call := range []func() error{
		func() error {
			_, err := s.Commit(t.Context(), Batch{
				Events: events(2, 0), States: []State{{Key: "a", Payload: []byte("1")}, {Key: "b"}},
				Upkeep: []Upkeep{{Gland: "p1"}}, Replies: []Reply{{ID: "c"}},
			})
			return err
		},
		func() error { return s.Delete(t.Context(), 1) },
		func() error { return s.Heartbeat(stampAt(0)) },
		func() error { return s.Flush(t.Context(), stampAt(time.Minute)) },
		func() error { return s.Maintain(t.Context(), stampAt(time.Hour)) },
	} {
		before := f.word
		err := call()
		if hit := f.word != before; hit != (err != nil) || hit && !errors.Is(err, errInjected) {
			t.Fatalf("call %d, write %d: got %v", i, f.at, err)
		}
		if err == nil {
			continue
		}
		if err := call(); err != nil {
			t.Fatalf("call %d, write %d, tried again: %v", i, f.at, err)
		}
	}
}

// onSmallDisk runs in a file system of 3 MiB; where that cannot be mounted
// the fault is injected instead.
func onSmallDisk(t *testing.T) (dir string, mounted bool) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=3m"); err != nil {
		t.Logf("no small disk here (%v): injecting the error", err)
		return dir, false
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir, true
}

func TestFullDisk(t *testing.T) {
	dir, mounted := onSmallDisk(t)
	full := false
	s := mustOpen(t, dir, Options{Fault: func(string) error {
		if full && !mounted {
			return typed(syscall.ENOSPC)
		}
		return nil
	}})
	mustCommit(t, s, Batch{Events: events(1, 0)})
	filler := filepath.Join(dir, "filler")
	if mounted {
		_ = os.WriteFile(filler, make([]byte, 4<<20), 0o600) // fills what there is and fails
	}
	full = true
	failUntilFull(t, s)
	acknowledged := s.LastSeq()
	addReadings(s, 0, 100_000)
	if err := s.Flush(t.Context(), stampAt(time.Hour)); !errors.Is(err, ErrFull) {
		t.Fatalf("flush: %v", err)
	}
	if pending, err := s.Pending(t.Context(), 0, 10_000); err != nil || len(pending) == 0 {
		t.Fatalf("on the full disk %d pending, %v", len(pending), err)
	}
	full = false
	if mounted {
		if err := os.Remove(filler); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Flush(t.Context(), stampAt(time.Hour)); err != nil {
		t.Fatalf("space is free again: %v", err)
	}
	if seqs := mustCommit(t, s, Batch{Events: events(1, 0)}); seqs[0] != acknowledged+1 {
		t.Errorf("seq %d after %d", seqs[0], acknowledged)
	}
	checkContiguous(t, s)
	mustClose(t, s)
	checkContiguous(t, mustOpen(t, dir, Options{}))
}

func failUntilFull(t *testing.T, s *Store) {
	t.Helper()
	b := Batch{Events: events(3, 0)}
	b.Events[0].Payload = []byte(strings.Repeat("x", 20_000))
	for range 1000 {
		if _, err := s.Commit(t.Context(), b); err != nil {
			if !errors.Is(err, ErrFull) {
				t.Fatalf("got %v", err)
			}
			return
		}
	}
	t.Fatal("the disk never filled")
}

func TestReadOnlyDirectory(t *testing.T) {
	dir, mounted := onSmallDisk(t)
	s := mustOpen(t, dir, Options{})
	mustCommit(t, s, Batch{Events: events(1, 0)})
	mustClose(t, s)
	readOnly := func(on bool) error {
		switch {
		case mounted && on:
			return syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, "")
		case mounted:
			return syscall.Mount("", dir, "", syscall.MS_REMOUNT, "")
		case on:
			return os.Chmod(dir, 0o500)
		}
		return os.Chmod(dir, 0o700)
	}
	if err := readOnly(true); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); !errors.Is(err, ErrReadOnly) {
		t.Errorf("got %v", err)
	}
	if err := readOnly(false); err != nil {
		t.Fatal(err)
	}
	checkContiguous(t, mustOpen(t, dir, Options{}))
}

// The numbers are SQLite's result codes, sqlite.org/rescode.html (from memory).
func TestErrorsAreTyped(t *testing.T) {
	for code, want := range map[int]error{
		13: ErrFull, 8: ErrReadOnly, 3: ErrReadOnly, 14: ErrReadOnly, 11: ErrCorrupt, 26: ErrCorrupt,
		10: ErrIO, 10 | 3<<8: ErrIO, 5: ErrBusy, 8 | 4<<8: ErrReadOnly, 19: nil,
	} {
		if got := kindOfCode(code); !errors.Is(got, want) {
			t.Errorf("code %d is %v, want %v", code, got, want)
		}
	}
	for errno, want := range map[syscall.Errno]error{
		syscall.ENOSPC: ErrFull, syscall.EDQUOT: ErrFull, syscall.EROFS: ErrReadOnly, syscall.EACCES: ErrReadOnly, syscall.EIO: ErrIO,
	} {
		err := typed(fmt.Errorf("write: %w", &os.PathError{Op: "write", Path: "seq", Err: errno}))
		if !errors.Is(err, want) || !errors.Is(err, errno) {
			t.Errorf("%s is %v", errno, err)
		}
	}
	if typed(nil) != nil || !errors.Is(typed(errInjected), errInjected) {
		t.Error("other errors must stay as they are")
	}
}
