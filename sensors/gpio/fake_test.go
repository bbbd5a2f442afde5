package gpio

import (
	"context"
	"io/fs"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"weepd/sensors"
)

// fakeHost stands for the kernel: chips with lines, edges that wait up to
// mostWaiting of them and then lose the oldest, chips that go away.
type fakeHost struct {
	mu    sync.Mutex
	chips []*fakeChip
	clock func() time.Duration // the kernel's
}

type fakeChip struct {
	host    *fakeHost
	path    string
	is      chipInfo
	lines   []lineInfo
	refuses error // to open
	denies  error // a line
	gone    bool
	garbles bool
	held    *fakeLine
	level   bool
	opened  int // and not closed
}

type fakeLine struct {
	chip  *fakeChip
	queue []edge
	seq   uint32
	comes chan bool
}

func newHost(clock func() time.Duration, chips ...*fakeChip) *fakeHost {
	h := &fakeHost{chips: chips, clock: clock}
	for i, c := range chips {
		c.host, c.path = h, "/dev/gpiochip"+string(rune('0'+i))
		c.is.name = "gpiochip" + string(rune('0'+i))
		c.is.lines = len(c.lines)
	}
	return h
}

func named(names ...string) (lines []lineInfo) {
	for _, n := range names {
		lines = append(lines, lineInfo{name: n})
	}
	return lines
}

func (h *fakeHost) paths() (paths []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, c := range h.chips {
		if !c.gone {
			paths = append(paths, c.path)
		}
	}
	return paths
}

func (h *fakeHost) open(path string) (chip, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, c := range h.chips {
		if c.path != path || c.gone {
			continue
		}
		if c.refuses != nil {
			return nil, &fs.PathError{Op: "open", Path: path, Err: c.refuses}
		}
		c.opened++
		return c, nil
	}
	return nil, &fs.PathError{Op: "open", Path: path, Err: syscall.ENOENT}
}

func (c *fakeChip) info() (chipInfo, error) { return c.is, nil }

func (c *fakeChip) line(offset int) (lineInfo, error) {
	c.host.mu.Lock()
	defer c.host.mu.Unlock()
	return c.lines[offset], nil
}

func (c *fakeChip) request(offset int, _ use) (line, error) {
	c.host.mu.Lock()
	defer c.host.mu.Unlock()
	if c.denies != nil {
		return nil, c.denies
	}
	if c.lines[offset].used {
		return nil, syscall.EBUSY
	}
	c.held = &fakeLine{chip: c, comes: make(chan bool, 1)}
	return c.held, nil
}

func (c *fakeChip) close() error {
	c.host.mu.Lock()
	defer c.host.mu.Unlock()
	c.opened--
	return nil
}

// edges happen on the line now, or at the given times.
func (c *fakeChip) edges(at ...time.Duration) {
	c.host.mu.Lock()
	defer c.host.mu.Unlock()
	l := c.held
	if l == nil || c.gone {
		return
	}
	for _, t := range at {
		l.seq++
		l.queue = append(l.queue, edge{t, l.seq})
	}
	if more := len(l.queue) - mostWaiting; more > 0 {
		l.queue = slices.Delete(l.queue, 0, more)
	}
	select {
	case l.comes <- true:
	default:
	}
}

func (c *fakeChip) drop() { c.edges(c.host.clock()) }

func (l *fakeLine) wait(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(min(d, longestUnchecked))
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	case <-l.comes:
	}
}

func (l *fakeLine) keeps() bool { return true }

func (l *fakeLine) read() ([]edge, error) {
	l.chip.host.mu.Lock()
	defer l.chip.host.mu.Unlock()
	switch {
	case l.chip.gone:
		return nil, syscall.ENODEV
	case l.chip.garbles:
		return decode(nil, make([]byte, eventSize-1))
	}
	q := l.queue
	l.queue = nil
	return q, nil
}

func (l *fakeLine) high() (bool, error) {
	l.chip.host.mu.Lock()
	defer l.chip.host.mu.Unlock()
	if l.chip.gone {
		return false, syscall.ENODEV
	}
	return l.chip.level, nil
}

func (l *fakeLine) now() time.Duration { return l.chip.host.clock() }

func (l *fakeLine) close() error {
	l.chip.host.mu.Lock()
	defer l.chip.host.mu.Unlock()
	if l.chip.held == l {
		l.chip.held = nil
	}
	return nil
}

// set changes the chip under its lock.
func (c *fakeChip) set(change func(*fakeChip)) {
	c.host.mu.Lock()
	defer c.host.mu.Unlock()
	change(c)
}

// oneLine is a host with a line DRIP, whose clock started an hour ago.
func oneLine() (*fakeHost, *fakeChip) {
	booted := time.Now().Add(-time.Hour)
	c := &fakeChip{lines: named("DRIP")}
	return newHost(func() time.Duration { return time.Since(booted) }, c), c
}

func onHost(t testing.TB, h host, cfg Config, clock sensors.Clock) *Source {
	t.Helper()
	cfg, open, err := prepare(h, cfg, "a", clock)
	if err != nil {
		t.Fatal(err)
	}
	return newSource(cfg, "a", open, clock)
}
