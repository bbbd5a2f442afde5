// Package watched tells when a file has been written anew.
package watched

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
)

// What counts as written: a writer has closed the file, or another was put in its
// place. inotify(7) tells of the closing, libraries over it do not; without it a
// slow writer's half could be taken for the whole.
const (
	written = unix.IN_CLOSE_WRITE | unix.IN_MOVED_TO
	linked  = unix.IN_CREATE // counts for symbolic links only: a file is created empty
)

// File watches one file by its folder, so that it may be replaced or be missing
// for a time. What a symbolic link leads to is watched as well.
type File struct {
	path    string
	events  *os.File
	changed chan struct{}
	folders map[int]bool // watch -> the file's own folder
}

// Watch begins to watch. Run must be called, and closes what is open.
func Watch(path string) (*File, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	fd, err := unix.InotifyInit1(unix.IN_CLOEXEC | unix.IN_NONBLOCK)
	if err != nil {
		return nil, fmt.Errorf("watch %s: %w", path, err)
	}
	f := &File{
		path: path, events: os.NewFile(uintptr(fd), "inotify"),
		changed: make(chan struct{}, 1), folders: make(map[int]bool),
	}
	if err := f.follow(); err != nil {
		return nil, errors.Join(err, f.events.Close())
	}
	return f, nil
}

// Changed gives a token after each change; several may share one.
func (f *File) Changed() <-chan struct{} { return f.changed }

// follow watches the file's folder and that of what it links to.
func (f *File) follow() error {
	if err := f.add(filepath.Dir(f.path), true); err != nil {
		return err
	}
	if target, err := filepath.EvalSymlinks(f.path); err == nil && target != f.path {
		return f.add(filepath.Dir(target), false)
	}
	return nil // one that is missing for a time: its folder tells
}

func (f *File) add(folder string, own bool) error {
	conn, err := f.events.SyscallConn()
	if err != nil {
		return err
	}
	var watch int
	var failed error
	err = conn.Control(func(fd uintptr) { watch, failed = unix.InotifyAddWatch(int(fd), folder, written|linked) })
	if err := errors.Join(err, failed); err != nil {
		return fmt.Errorf("watch %s: %w", folder, err)
	}
	f.folders[watch] = f.folders[watch] || own
	return nil
}

// Run reads what the kernel tells until ctx ends.
func (f *File) Run(ctx context.Context) error {
	stop := context.AfterFunc(ctx, func() { _ = f.events.Close() }) // ends Read
	defer stop()
	buffer := make([]byte, 64<<10)
	for {
		n, err := f.events.Read(buffer)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return errors.Join(fmt.Errorf("watch %s: %w", f.path, err), f.events.Close())
		}
		if f.concerns(buffer[:n]) {
			_ = f.follow() // the link may lead elsewhere now
			select {
			case f.changed <- struct{}{}:
			default:
			}
		}
	}
}

// concerns reads the records of inotify(7): watch, mask, cookie and length of the
// name, 32 bits each in the machine's order, then the name, filled up with zeros.
func (f *File) concerns(data []byte) (ours bool) {
	for len(data) >= unix.SizeofInotifyEvent {
		watch := int(int32(binary.NativeEndian.Uint32(data)))
		mask := binary.NativeEndian.Uint32(data[4:])
		length := binary.NativeEndian.Uint32(data[12:])
		if uint64(length) > uint64(len(data)-unix.SizeofInotifyEvent) {
			return true // cut off: whatever it was, looking again costs little
		}
		end := unix.SizeofInotifyEvent + int(length)
		name := strings.TrimRight(string(data[unix.SizeofInotifyEvent:end]), "\x00")
		data = data[end:]
		ours = ours || mask&unix.IN_Q_OVERFLOW != 0 || f.concern(watch, mask, name)
	}
	return ours
}

func (f *File) concern(watch int, mask uint32, name string) bool {
	info, err := os.Lstat(f.path)
	link := err == nil && info.Mode()&os.ModeSymlink != 0
	if link { // any step of the way may have been replaced
		return true
	}
	return f.folders[watch] && name == filepath.Base(f.path) && mask&written != 0
}
