package store

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// childDir, when set, makes the test binary the child that is killed.
const childDir = "STORE_TEST_CHILD_DIR"

// child writes batches for ever and says each seq once it is acknowledged.
func child(dir string) {
	s, err := Open(dir, Options{})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	for i := 0; ; i++ {
		at := stampAt(time.Duration(i) * time.Second)
		seqs, err := s.Commit(context.Background(), Batch{
			Events: events(1+i%3, time.Duration(i)*time.Second),
			States: []State{{Key: "count", Stamp: at, Payload: strconv.AppendInt(nil, s.LastSeq(), 10)}},
		})
		if err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Println(seqs[len(seqs)-1])
		if i%7 == 0 {
			if err := s.Delete(context.Background(), seqs[0]); err != nil {
				fmt.Println("error", err)
				os.Exit(1)
			}
		}
		addReadings(s, time.Duration(i)*time.Second, 5)
		if i%20 == 0 {
			if err := s.Flush(context.Background(), at); err != nil {
				fmt.Println("error", err)
				os.Exit(1)
			}
		}
	}
}

// TestKilledChildLosesNothing kills a writing process at random moments.
func TestKilledChildLosesNothing(t *testing.T) {
	dir := t.TempDir()
	for round := range 8 {
		last := killChild(t, dir, 1+rand.IntN(60))
		s := mustOpen(t, dir, Options{})
		if len(s.Aside()) > 0 {
			t.Fatalf("round %d: %v", round, s.Aside())
		}
		if s.LastSeq() < last {
			t.Fatalf("round %d: event %d was acknowledged, the newest is %d", round, last, s.LastSeq())
		}
		if last == 0 {
			t.Fatalf("round %d: the child did nothing", round)
		}
		checkContiguous(t, s)
		recorded(t, s, noon, noon.Add(day)) // whole or absent, never damaged
		mustClose(t, s)
	}
}

// killChild lets the child acknowledge some batches, kills it, and gives the
// last acknowledged seq.
func killChild(t *testing.T, dir string, batches int) (last int64) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), childDir+"="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for n := 0; lines.Scan(); n++ {
		seq, err := strconv.ParseInt(lines.Text(), 10, 64)
		if err != nil {
			t.Fatalf("the child says %q", lines.Text())
		}
		last = seq
		if n == batches {
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	_ = cmd.Wait() // it was killed
	return last
}

func checkContiguous(t *testing.T, s *Store) {
	t.Helper()
	after := int64(0)
	for {
		list, err := s.Events(t.Context(), after, 500)
		if err != nil {
			t.Fatal(err)
		}
		if len(list) == 0 {
			break
		}
		for _, e := range list {
			if e.Seq != after+1 {
				t.Fatalf("event %d follows %d", e.Seq, after)
			}
			after = e.Seq
		}
	}
	if after != s.LastSeq() {
		t.Fatalf("the newest event is %d, numbering stands at %d", after, s.LastSeq())
	}
}

// TestCopyAtEveryWriteIsConsistent copies the files before every single write,
// as a crash there would leave them, and opens the copies.
func TestCopyAtEveryWriteIsConsistent(t *testing.T) {
	dir := t.TempDir()
	acknowledged := int64(0)
	var copies []string
	var want []int64
	opts := Options{Fault: func(string) error {
		copies = append(copies, copyDir(t, dir))
		want = append(want, acknowledged)
		return nil
	}}
	s := mustOpen(t, dir, opts)
	for i := range 4 {
		seqs := mustCommit(t, s, Batch{Events: events(2, 0), States: []State{{Key: "a", Payload: []byte{byte(i)}}}})
		acknowledged = seqs[1]
		addReadings(s, time.Duration(i)*time.Minute, 50)
		if err := s.Flush(t.Context(), stampAt(time.Duration(i+1)*time.Minute)); err != nil {
			t.Fatal(err)
		}
		if err := s.Delete(t.Context(), acknowledged-1); err != nil {
			t.Fatal(err)
		}
	}
	mustClose(t, s)
	for i, dir := range copies {
		c := mustOpen(t, dir, Options{})
		if c.Aside() != nil || c.LastSeq() != want[i] {
			t.Fatalf("copy %d: newest event %d, acknowledged %d, aside %v", i, c.LastSeq(), want[i], c.Aside())
		}
		checkContiguous(t, c)
		mustClose(t, c)
	}
	if len(copies) < 30 {
		t.Errorf("only %d writes passed the seam", len(copies))
	}
}

func copyDir(t testing.TB, dir string) string {
	t.Helper()
	to := t.TempDir()
	paths, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(to, filepath.Base(path)), data, 0o640); err != nil {
			t.Fatal(err)
		}
	}
	return to
}

// TestTornLogIsAPrefix cuts the write-ahead log anywhere: what is left is a
// beginning of the journal, never a hole in it.
func TestTornLogIsAPrefix(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir, Options{})
	for range 20 {
		mustCommit(t, s, Batch{Events: events(3, 0)})
	}
	crashed := copyDir(t, dir)
	mustClose(t, s)
	wal, err := os.ReadFile(filepath.Join(crashed, journalFile+"-wal"))
	if err != nil || len(wal) < 10_000 {
		t.Fatalf("log of %d bytes, %v", len(wal), err)
	}
	newest := int64(60)
	for cut := len(wal); cut > 0; cut -= len(wal)/40 + rand.IntN(500) {
		dir := copyDir(t, crashed)
		if err := os.WriteFile(filepath.Join(dir, journalFile+"-wal"), bytes.Clone(wal[:cut]), 0o640); err != nil {
			t.Fatal(err)
		}
		c := mustOpen(t, dir, Options{})
		if c.Aside() != nil || c.LastSeq() > newest {
			t.Fatalf("cut at %d: newest %d after %d, aside %v", cut, c.LastSeq(), newest, c.Aside())
		}
		newest = c.LastSeq()
		checkContiguous(t, c)
		mustClose(t, c)
	}
}
