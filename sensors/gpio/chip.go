package gpio

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// host is where chips are: the kernel, or a fake.
type host interface {
	paths() []string
	open(path string) (chip, error)
}

// chip is an open GPIO chip.
type chip interface {
	info() (chipInfo, error)
	line(offset int) (lineInfo, error)
	request(offset int, u use) (line, error)
	close() error
}

type chipInfo struct {
	name  string // gpiochip0
	label string // of its driver
	lines int
}

type lineInfo struct {
	name string // empty if it has none
	used bool
	by   string // who uses it, empty if not told
}

// kernel is the host's own chips.
type kernel struct{}

func (kernel) paths() []string {
	paths, _ := filepath.Glob("/dev/gpiochip*") // the pattern is right
	slices.SortFunc(paths, func(a, b string) int {
		if len(a) != len(b) {
			return len(a) - len(b) // gpiochip2 before gpiochip10
		}
		return bytes.Compare([]byte(a), []byte(b))
	})
	return paths
}

func (kernel) open(path string) (chip, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	return kernelChip{f}, nil
}

type kernelChip struct{ *os.File }

func (c kernelChip) close() error { return c.Close() }

// getChipInfo is GPIO_GET_CHIPINFO_IOCTL, _IOR(0xB4, 1, struct gpiochip_info)
// of 68 bytes (include/uapi/linux/gpio.h); x/sys has only version 2's.
const getChipInfo = 0x8044b401

func (c kernelChip) info() (chipInfo, error) {
	var i unix.GPIOChipInfo
	if err := ioctl(int(c.Fd()), getChipInfo, unsafe.Pointer(&i)); err != nil {
		return chipInfo{}, fmt.Errorf("ask %s what it is: %w", c.Name(), err)
	}
	return chipInfo{text(i.Name[:]), text(i.Label[:]), int(i.Lines)}, nil
}

// Flags of lines: enum gpio_v2_line_flag (include/uapi/linux/gpio.h).
const (
	flagUsed        = 1 << 0
	flagInput       = 1 << 2
	flagEdgeRising  = 1 << 4
	flagEdgeFalling = 1 << 5
	flagPullUp      = 1 << 8
	flagPullDown    = 1 << 9
	flagPullNone    = 1 << 10
)

func (c kernelChip) line(offset int) (lineInfo, error) {
	i := unix.GPIOV2LineInfo{Offset: uint32(offset)}
	if err := ioctl(int(c.Fd()), unix.GPIO_V2_GET_LINEINFO_IOCTL, unsafe.Pointer(&i)); err != nil {
		return lineInfo{}, fmt.Errorf("ask %s about line %d: %w", c.Name(), offset, err)
	}
	return lineInfo{text(i.Name[:]), i.Flags&flagUsed != 0, text(i.Consumer[:])}, nil
}

func text(b []byte) string {
	b, _, _ = bytes.Cut(b, []byte{0})
	return string(b)
}

// request asks for the line; without the kernel's debounce if it refuses that.
func (c kernelChip) request(offset int, u use) (line, error) {
	r, late := compose(offset, u)
	err := ioctl(int(c.Fd()), unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r))
	if err != nil && late > 0 && !errors.Is(err, unix.EBUSY) {
		u.cfg.DebounceBy = debounceAgent
		r, late = compose(offset, u)
		err = ioctl(int(c.Fd()), unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r))
	}
	if err != nil {
		return nil, err
	}
	return hold(int(r.Fd), fmt.Sprintf("%s:%d", filepath.Base(c.Name()), offset), late)
}

// compose fills in struct gpio_v2_line_request; late is how long after an edge
// the kernel will stamp it.
func compose(offset int, u use) (r unix.GPIOV2LineRequest, late time.Duration) {
	r.Offsets[0], r.Num_lines, r.Event_buffer_size = uint32(offset), 1, mostWaiting
	copy(r.Consumer[:], "weepd")
	r.Config.Flags = flagInput
	if u.both || u.cfg.Edge == rising {
		r.Config.Flags |= flagEdgeRising
	}
	if u.both || u.cfg.Edge == falling {
		r.Config.Flags |= flagEdgeFalling
	}
	r.Config.Flags |= map[string]uint64{pullUp: flagPullUp, pullDown: flagPullDown, pullNone: flagPullNone}[u.cfg.Pull]
	if u.cfg.DebounceBy == debounceKern && u.cfg.Debounce > 0 {
		late = u.cfg.Debounce
		a := &r.Config.Attrs[0]
		a.Attr.Id, a.Mask, r.Config.Num_attrs = unix.GPIO_V2_LINE_ATTR_ID_DEBOUNCE, 1, 1
		// debounce_period_us, the first 4 of the union's 8 bytes.
		*(*uint32)(unsafe.Pointer(&a.Attr.Flags)) = uint32(u.cfg.Debounce.Microseconds())
	}
	return r, late
}
