package gpio

import (
	"context"
	"encoding/binary"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Sizes by include/uapi/linux/gpio.h, the same on 32 and 64 bits: the numbers
// of the ioctls hold them in bits 16 to 29 (include/uapi/asm-generic/ioctl.h).
func TestStructsAreOfTheKernelsSize(t *testing.T) {
	sizes := []struct {
		request uint32
		size    uintptr
	}{
		{getChipInfo, unsafe.Sizeof(unix.GPIOChipInfo{})},
		{unix.GPIO_V2_GET_LINEINFO_IOCTL, unsafe.Sizeof(unix.GPIOV2LineInfo{})},
		{unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Sizeof(unix.GPIOV2LineRequest{})},
		{unix.GPIO_V2_LINE_GET_VALUES_IOCTL, unsafe.Sizeof(unix.GPIOV2LineValues{})},
	}
	for _, s := range sizes {
		if want := uintptr(s.request >> 16 & 0x3fff); s.size != want {
			t.Errorf("struct of %#x has %d bytes, want %d", s.request, s.size, want)
		}
	}
	if size := unsafe.Sizeof(unix.GPIOV2LineEvent{}); size != eventSize {
		t.Errorf("event has %d bytes, want %d", size, eventSize)
	}
}

func TestCompose(t *testing.T) {
	r, late := compose(7, use{cfg: Config{Edge: falling, Pull: pullUp, Debounce: 3 * time.Millisecond, DebounceBy: debounceKern}})
	attr := r.Config.Attrs[0]
	if r.Offsets[0] != 7 || r.Num_lines != 1 || r.Event_buffer_size != 1024 || text(r.Consumer[:]) != "weepd" ||
		r.Config.Flags != flagInput|flagEdgeFalling|flagPullUp || r.Config.Num_attrs != 1 || attr.Mask != 1 ||
		attr.Attr.Id != 3 || *(*uint32)(unsafe.Pointer(&attr.Attr.Flags)) != 3000 || late != 3*time.Millisecond {
		t.Errorf("got %+v, late %s", r, late)
	}
	r, late = compose(0, use{both: true, cfg: Config{Edge: rising, Pull: pullDown, Debounce: 1, DebounceBy: debounceAgent}})
	if r.Config.Flags != flagInput|flagEdgeFalling|flagEdgeRising|flagPullDown || r.Config.Num_attrs != 0 || late != 0 {
		t.Errorf("got %+v, late %s", r.Config, late)
	}
}

func event(at uint64, id, seq uint32) []byte {
	b := make([]byte, eventSize)
	binary.NativeEndian.PutUint64(b, at)
	binary.NativeEndian.PutUint32(b[8:], id)
	binary.NativeEndian.PutUint32(b[20:], seq)
	return b
}

// piped is a requested line whose events come out of a pipe.
func piped(t *testing.T, late time.Duration) (*requested, *os.File) {
	t.Helper()
	var fds [2]int
	if err := unix.Pipe2(fds[:], unix.O_CLOEXEC); err != nil {
		t.Fatal(err)
	}
	r, err := hold(fds[0], "gpiochip0:7", late)
	if err != nil {
		t.Fatal(err)
	}
	w := os.NewFile(uintptr(fds[1]), "kernel")
	t.Cleanup(func() {
		if err := errors.Join(r.close(), ignoreClosed(w.Close())); err != nil {
			t.Error(err)
		}
	})
	return r, w
}

// unknownRequest is what the kernel says to an ioctl that its file does not
// know, and what qemu-user says to one that it does not know itself.
func unknownRequest(err error) bool {
	return errors.Is(err, unix.ENOTTY) || errors.Is(err, unix.ENOSYS)
}

func ignoreClosed(err error) error {
	if errors.Is(err, fs.ErrClosed) {
		return nil
	}
	return err
}

func TestEventsAreReadAsTheyCome(t *testing.T) {
	r, w := piped(t, time.Millisecond)
	go func() {
		// The reader waits for it; an error shows there.
		_, _ = w.Write(append(event(5e9, 1, 1), event(6e9, 2, 4)...))
	}()
	r.wait(t.Context(), time.Minute)
	got, err := r.read()
	if err != nil || len(got) != 2 || got[0] != (edge{4999 * time.Millisecond, 1}) || got[1] != (edge{5999 * time.Millisecond, 4}) {
		t.Errorf("read = %v, %v", got, err)
	}
	// A pipe has no level: asking for it, as after any fruitless wait, tells
	// that this is no line any more.
	if _, err := r.read(); !unknownRequest(err) {
		t.Errorf("read = %v, want ENOTTY", err)
	}
}

func TestWaitEnds(t *testing.T) {
	r, w := piped(t, 0)
	r.wait(t.Context(), time.Millisecond) // by its time
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(10*time.Millisecond, cancel)
	for ctx.Err() == nil {
		r.wait(ctx, time.Hour) // by its context, or its own bound
	}
	r.wait(ctx, time.Hour) // which has ended
	if _, err := w.Write(event(1, 1, 1)); err != nil {
		t.Fatal(err)
	}
	r.wait(t.Context(), time.Hour) // works again, and at once
	if got, err := r.read(); err != nil || len(got) != 1 {
		t.Errorf("read = %v, %v", got, err)
	}
}

func TestGarbledAnswers(t *testing.T) {
	for name, sent := range map[string][]byte{
		"short":   event(1, 1, 1)[:47],
		"long":    append(event(1, 1, 1), 0),
		"id 0":    event(1, 0, 1),
		"all one": event(1<<64-1, 1<<32-1, 1<<32-1),
		"time":    event(1<<63, 1, 1),
	} {
		r, w := piped(t, 0)
		if _, err := w.Write(sent); err != nil {
			t.Fatal(err)
		}
		if got, err := r.read(); !errors.Is(err, errGarbled) {
			t.Errorf("%s: read = %v, %v", name, got, err)
		}
	}
	r, w := piped(t, 0)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := r.read(); !errors.Is(err, errGarbled) {
		t.Errorf("end: read = %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{})
	f.Add(event(1e9, 1, 1))
	f.Add(append(event(1e9, 1, 1), event(2e9, 2, 2)...))
	f.Add(event(1, 3, 1))
	f.Add(make([]byte, 47))
	f.Fuzz(func(t *testing.T, b []byte) {
		edges, err := decode(nil, b)
		if err != nil {
			if !errors.Is(err, errGarbled) {
				t.Fatalf("error %v", err)
			}
			return
		}
		if len(edges)*eventSize != len(b) {
			t.Fatalf("%d edges from %d bytes", len(edges), len(b))
		}
		for i, e := range edges {
			raw := (*unix.GPIOV2LineEvent)(unsafe.Pointer(&append([]byte(nil), b[i*eventSize:(i+1)*eventSize]...)[0]))
			if e.at < 0 || e.at != time.Duration(raw.Timestamp_ns) || e.seq != raw.Line_seqno {
				t.Fatalf("edge %d is %v, want %+v", i, e, raw)
			}
		}
	})
}

// What the kernel says of itself does not stop on a machine without chips.
func TestKernelHost(t *testing.T) {
	for _, path := range (kernel{}).paths() {
		if filepath.Dir(path) != "/dev" {
			t.Errorf("chip at %s", path)
		}
	}
	if _, err := (kernel{}).open(filepath.Join(t.TempDir(), "gpiochip0")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("open = %v", err)
	}
	null, err := (kernel{}).open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := null.info(); !unknownRequest(err) {
		t.Errorf("info of no chip = %v", err)
	}
	if _, err := null.line(0); !unknownRequest(err) {
		t.Errorf("line of no chip = %v", err)
	}
	if _, err := null.request(0, use{cfg: Config{Debounce: 1, DebounceBy: debounceKern}}); !unknownRequest(err) {
		t.Errorf("request of no chip = %v", err)
	}
	if err := null.close(); err != nil {
		t.Error(err)
	}
}
