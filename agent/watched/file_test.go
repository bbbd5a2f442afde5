package watched

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func watching(t *testing.T, path string) *File {
	t.Helper()
	f, err := Watch(path)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- f.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return f
}

func (f *File) tells(t *testing.T, what string) {
	t.Helper()
	select {
	case <-f.Changed():
	case <-time.After(30 * time.Second):
		t.Fatalf("%s: nothing was told", what)
	}
	for quiet := false; !quiet; { // several records of one change
		select {
		case <-f.Changed():
		case <-time.After(100 * time.Millisecond):
			quiet = true
		}
	}
}

func (f *File) silent(t *testing.T, what string) {
	t.Helper()
	select {
	case <-f.Changed():
		t.Fatalf("%s: was told", what)
	case <-time.After(200 * time.Millisecond):
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func do(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// Written in place, replaced by a rename, removed and written again; another file
// of the folder does not count, nor a writer that is not done.
func TestFileIsToldOfWhenWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "weepd.yaml")
	write(t, path, "one")
	f := watching(t, path)
	write(t, path, "two")
	f.tells(t, "written")
	write(t, path+".new", "three")
	f.silent(t, "a neighbour")
	do(t, os.Rename(path+".new", path))
	f.tells(t, "renamed over")
	do(t, os.Remove(path))
	f.silent(t, "removed")
	out, err := os.Create(path)
	do(t, err)
	_, err = out.WriteString("half")
	do(t, err)
	f.silent(t, "half-written")
	_, err = out.WriteString(" and whole")
	do(t, err)
	do(t, out.Close())
	f.tells(t, "closed")
}

// A link into another folder: its target is written, the link leads elsewhere.
func TestLinkedFile(t *testing.T) {
	first, second, here := t.TempDir(), t.TempDir(), t.TempDir()
	write(t, filepath.Join(first, "a"), "one")
	write(t, filepath.Join(second, "a"), "two")
	path := filepath.Join(here, "weepd.yaml")
	do(t, os.Symlink(filepath.Join(first, "a"), path))
	f := watching(t, path)
	write(t, filepath.Join(first, "a"), "one more")
	f.tells(t, "the target written")
	do(t, os.Symlink(filepath.Join(second, "a"), path+".new"))
	do(t, os.Rename(path+".new", path))
	f.tells(t, "the link replaced")
	write(t, filepath.Join(second, "a"), "two more")
	f.tells(t, "the new target written")
}

func TestWatchOfNoFolder(t *testing.T) {
	if _, err := Watch(filepath.Join(t.TempDir(), "none", "weepd.yaml")); err == nil {
		t.Error("no error")
	}
}

// Whatever comes, it is read to its end and no further.
func FuzzRecords(f *testing.F) {
	f.Add([]byte{})
	f.Add(append(make([]byte, 12), 16, 0, 0, 0, 'w', 0, 0, 0))
	f.Add(append(append([]byte{1, 0, 0, 0, 8, 0, 0, 0, 0, 0, 0, 0, 4, 0, 0, 0}, "a\x00\x00\x00"...), 1, 2, 3))
	f.Fuzz(func(_ *testing.T, data []byte) {
		file := &File{path: "/none/weepd.yaml", folders: map[int]bool{1: true}}
		file.concerns(data)
	})
}
