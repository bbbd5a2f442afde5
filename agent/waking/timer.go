// Package waking has a timer of the kernel's: timerfd_create(2).
//
// A timer of the Go runtime wakes the processor up to five times: its wait is one of
// whole milliseconds, rounded down, so that a second one follows, and the runtime's
// monitor wakes at each timer too and looks again 10 ms later (seen with strace). A
// descriptor that becomes readable wakes it once. That counts where nothing else is
// done for most of a second.
package waking

import (
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Timer is one timer. Its methods are for one goroutine at a time.
type Timer struct {
	file  *os.File
	raw   syscall.RawConn
	c     chan time.Time
	ended chan struct{}
}

// NewTimer makes a timer that is not set. Whoever makes it stops it.
func NewTimer() (*Timer, error) {
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return nil, fmt.Errorf("timer of the kernel: %w", err)
	}
	file := os.NewFile(uintptr(fd), "timer")
	raw, err := file.SyscallConn()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("timer of the kernel: %w", err), file.Close())
	}
	t := &Timer{file: file, raw: raw, c: make(chan time.Time, 1), ended: make(chan struct{})}
	go t.run()
	return t, nil
}

// C gives the time after each wait.
func (t *Timer) C() <-chan time.Time { return t.c }

// Reset begins a wait, whatever was waited for before. One that cannot be set is over
// at once: nothing is to wait for ever.
func (t *Timer) Reset(d time.Duration) {
	spec := unix.ItimerSpec{Value: unix.NsecToTimespec(max(d, 1).Nanoseconds())}
	failed := unix.Errno(0)
	// Raw: it never waits, and the runtime's monitor need not be woken for it.
	err := t.raw.Control(func(fd uintptr) {
		_, _, failed = unix.RawSyscall6(unix.SYS_TIMERFD_SETTIME, fd, 0, uintptr(unsafe.Pointer(&spec)), 0, 0, 0)
	})
	if err != nil || failed != 0 {
		t.tell()
	}
}

// Stop ends the timer.
func (t *Timer) Stop() {
	_ = t.file.Close() // nothing was written
	<-t.ended
}

func (t *Timer) run() {
	defer close(t.ended)
	times := new(uint64)
	for {
		err := t.raw.Read(func(fd uintptr) bool {
			// Raw, as above.
			_, _, failed := unix.RawSyscall(unix.SYS_READ, fd, uintptr(unsafe.Pointer(times)), unsafe.Sizeof(*times))
			return failed != unix.EAGAIN && failed != unix.EINTR
		})
		if err != nil {
			return
		}
		t.tell()
	}
}

func (t *Timer) tell() {
	select {
	case t.c <- time.Now():
	default: // who waits for it has not come yet
	}
}
