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
const longestUnchecked = 2 * time.Second

// requested is a line that the kernel gave us.
type requested struct {
	file  *os.File
	raw   syscall.RawConn
	late  time.Duration // how long after an edge the kernel stamps it
	bytes []byte
	edges []edge
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
	return &requested{file: f, raw: raw, late: late, bytes: make([]byte, mostWaiting*eventSize)}, nil
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
	n := 0
	err := r.control(func(fd int) (err error) {
		n, err = unix.Read(fd, r.bytes)
		return err
	})
	switch {
	case errors.Is(err, unix.EAGAIN), errors.Is(err, unix.EINTR):
		_, err = r.high() // asks the chip whether it is still there
		return nil, err
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

func (r *requested) high() (bool, error) {
	values := unix.GPIOV2LineValues{Mask: 1}
	err := r.control(func(fd int) error { return ioctl(fd, unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Pointer(&values)) })
	if err != nil {
		return false, fmt.Errorf("level of %s: %w", r.file.Name(), err)
	}
	return values.Bits&1 != 0, nil
}

// now is CLOCK_MONOTONIC, by which the kernel stamps edges unless asked otherwise.
func (r *requested) now() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &t); err != nil {
		return 0 // cannot be: every Linux has this clock
	}
	return time.Duration(t.Nano())
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
