//go:build integration

package integration

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"testing"

	"golang.org/x/sys/unix"
)

// serialLine makes two serial devices of pseudo-terminals with a cable between
// them, and gives their paths.
func serialLine(t *testing.T) (one, other string) {
	t.Helper()
	a, one := terminal(t)
	b, other := terminal(t)
	var cable sync.WaitGroup
	for _, way := range [][2]*os.File{{a, b}, {b, a}} {
		cable.Go(func() { _, _ = io.Copy(way[0], way[1]) }) // ends when they are closed
	}
	t.Cleanup(func() {
		if err := errors.Join(a.Close(), b.Close()); err != nil {
			t.Error(err)
		}
		cable.Wait()
	})
	return one, other
}

// terminal gives the far end and the path of a serial device. Its near end is
// held open, so that the far end lives on when a program closes it.
func terminal(t *testing.T) (far *os.File, path string) {
	t.Helper()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err := errors.Join(err, unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0)); err != nil {
		t.Fatal(err)
	}
	path = fmt.Sprintf("/dev/pts/%d", n)
	near, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Close(near) })
	// Raw, or what one end sends comes back from the other.
	mode, err := unix.IoctlGetTermios(near, unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	mode.Iflag, mode.Oflag, mode.Lflag = 0, 0, 0
	mode.Cflag |= unix.CS8 | unix.CREAD | unix.CLOCAL
	if err := unix.IoctlSetTermios(near, unix.TCSETS, mode); err != nil {
		t.Fatal(err)
	}
	return os.NewFile(uintptr(fd), "ptmx"), path
}
