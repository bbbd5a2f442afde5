package gpio

import (
	"context"
	"errors"
	"fmt"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// mostWaiting edges are the most that the kernel keeps for one line: 16 times
// GPIO_V2_LINES_MAX (linereq_create in drivers/gpio/gpiolib-cdev.c).
const mostWaiting = 1024

// longestUnchecked bounds how long a chip that went away goes unnoticed: the
// kernel wakes nobody then (seen on 6.1).
const (
	longestUnchecked = 2 * time.Second
	checkSlack       = 100 * time.Millisecond // of who looks each second
)

// requested is a line that the kernel gave us.
type requested struct {
	file  *os.File
	raw   syscall.RawConn
	late  time.Duration // how long after an edge the kernel stamps it
	bytes []byte
	edges []edge

	since time.Time     // when CLOCK_MONOTONIC was
	begun time.Duration // this

	checked time.Duration // when the chip was there for certain, on the clock of edges
}

// hold wraps the descriptor of a request.
func hold(fd int, name string, late time.Duration) (*requested, error) {
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, errors.Join(err, unix.Close(fd))
	}
	f := os.NewFile(uintptr(fd), name)
	raw, err := f.SyscallConn()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	r := &requested{file: f, raw: raw, late: late, bytes: make([]byte, mostWaiting*eventSize)}
	if err := r.compareClocks(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return r, nil
}

func (r *requested) wait(ctx context.Context, d time.Duration) {
	if r.file.SetReadDeadline(time.Now().Add(min(d, longestUnchecked))) != nil {
		pause(ctx, d) // the descriptor cannot wait: read will tell
		return
	}
	defer context.AfterFunc(ctx, func() {
		_ = r.file.SetReadDeadline(time.Unix(1, 0)) // as above
	})()
	if ctx.Err() != nil {
		return
	}
	// That the time is over is no news; any other error comes again in read.
	_ = r.raw.Read(func(fd uintptr) bool {
		ready := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		n, err := unix.Poll(ready, 0)
		return n > 0 || err != nil && !errors.Is(err, unix.EINTR)
	})
}

// keeps: the kernel does, up to mostWaiting.
func (r *requested) keeps() bool { return true }

func (r *requested) read() ([]edge, error) {
	n, err := r.readNow()
	switch {
	case errors.Is(err, unix.EAGAIN), errors.Is(err, unix.EINTR):
		return nil, r.check()
	case err != nil:
		return nil, fmt.Errorf("read %s: %w", r.file.Name(), err)
	case n == 0:
		return nil, fmt.Errorf("read %s: %w: nothing", r.file.Name(), errGarbled)
	}
	r.edges, err = decode(r.edges, r.bytes[:n])
	for i := range r.edges {
		r.edges[i].at -= r.late
	}
	return r.edges, err
}

// readNow is a raw call: the descriptor never waits, and Go's monitor, which looks
// after calls that do, need not be woken for it each time.
func (r *requested) readNow() (n int, err error) {
	err = r.control(func(fd int) error {
		got, _, failed := unix.RawSyscall(unix.SYS_READ, uintptr(fd), uintptr(unsafe.Pointer(&r.bytes[0])), uintptr(len(r.bytes)))
		if failed != 0 {
			return failed
		}
		n = int(got)
		return nil
	})
	return n, err
}

// check asks the chip now and then whether it is still there.
func (r *requested) check() error {
	now := r.now()
	if r.checked != 0 && now-r.checked < longestUnchecked-checkSlack {
		return nil
	}
	if _, err := r.high(); err != nil {
		return err
	}
	r.checked = now
	return nil
}

func (r *requested) high() (bool, error) {
	values := unix.GPIOV2LineValues{Mask: 1}
	err := r.control(func(fd int) error { return ioctl(fd, unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Pointer(&values)) })
	if err != nil {
		return false, fmt.Errorf("level of %s: %w", r.file.Name(), err)
	}
	return values.Bits&1 != 0, nil
}

// now is CLOCK_MONOTONIC, by which the kernel stamps edges unless asked otherwise, and
// which Go's time follows: so that the kernel needs to be asked but once.
func (r *requested) now() time.Duration { return r.begun + time.Since(r.since) }

// compareClocks finds what CLOCK_MONOTONIC was at a moment of Go's time, as exactly
// as some looks at both can tell.
func (r *requested) compareClocks() error {
	best := time.Duration(1<<63 - 1)
	for range mostLooks {
		var t unix.Timespec
		before := time.Now()
		if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
			return fmt.Errorf("clock of %s: %w", r.file.Name(), err)
		}
		if took := time.Since(before); took < best {
			best, r.since, r.begun = took, before.Add(took/2), time.Duration(t.Nano())
		}
	}
	return nil
}

func (r *requested) close() error { return r.file.Close() }

// control runs f on the descriptor whatever the deadline.
func (r *requested) control(f func(fd int) error) error {
	var failed error
	if err := r.raw.Control(func(fd uintptr) { failed = f(int(fd)) }); err != nil {
		return err
	}
	return failed
}

func ioctl(fd int, request uintptr, arg unsafe.Pointer) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(arg))
		if errno == 0 {
			return nil
		}
		if errno != unix.EINTR {
			return errno
		}
	}
}
