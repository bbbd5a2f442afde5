package counter

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// node is a counter whose reads fail or hang on demand. It rises with time.
type node struct {
	mu    sync.Mutex
	count func() uint64
	fails error
	hangs bool
	freed chan struct{}
	broke func(*node)
}

func (n *node) read(string) (uint64, error) {
	n.mu.Lock()
	hangs, fails, freed := n.hangs, n.fails, n.freed
	n.mu.Unlock()
	if hangs {
		<-freed
		return 77777, nil // old by now
	}
	return n.count(), fails
}

func (n *node) Break() { n.mu.Lock(); defer n.mu.Unlock(); n.broke(n) }

func (n *node) Mend() {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.hangs, n.fails = false, nil
	close(n.freed)
	n.freed = make(chan struct{})
}

func newNode(broke func(*node)) *node {
	begun := time.Now()
	return &node{
		count: func() uint64 { return 65530 + uint64(time.Since(begun)/time.Second)%6 },
		freed: make(chan struct{}), broke: broke,
	}
}

func newWith(t testing.TB, cfg Config, n *node, clock sensors.Clock) *Source {
	t.Helper()
	cfg.Path = "count0"
	s, err := New(cfg, "a", clock)
	if err != nil {
		t.Fatal(err)
	}
	s.read = n.read
	return s
}

func TestConforms(t *testing.T) {
	for name, broke := range map[string]func(*node){
		"unplugged": func(n *node) { n.fails = syscall.ENODEV },
		"garbled":   func(n *node) { n.fails = errNoCount },
		"hangs":     func(n *node) { n.hangs = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: 2 * defaultEvery,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					n := newNode(broke)
					n.count = func() uint64 { return 5 }
					return newWith(t, Config{}, n, clock), n
				},
			})
		})
	}
}

// said runs a source over counts, one a second; an empty one fails.
func said(t *testing.T, bits uint, counts ...string) string {
	t.Helper()
	var all []string
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		path := filepath.Join(t.TempDir(), "count")
		s, err := New(Config{Path: path, Bits: bits}, "a", func() time.Duration { return time.Since(begun) })
		if err != nil {
			t.Fatal(err)
		}
		next := 0
		s.read = func(path string) (uint64, error) {
			text := counts[next]
			next++
			if text == "" {
				return 0, syscall.EIO
			}
			if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
				return 0, err
			}
			return readCount(path)
		}
		ctx, cancel := context.WithCancel(t.Context())
		err = s.Run(ctx, func(r reading.Reading) {
			all = append(all, fmt.Sprintf("%g %s", r.Value, r.Quality))
			if len(all) == len(counts) {
				cancel()
			}
		})
		if err != nil {
			t.Errorf("Run = %v", err)
		}
	})
	return strings.Join(all, ", ")
}

func TestDropsAreDifferences(t *testing.T) {
	gap := strings.Split(strings.Repeat(",", 20), ",") // 21 readings that fail
	cases := []struct {
		bits   uint
		counts []string
		want   string
	}{
		{0, []string{"7", "7", "10", "11"}, "0 good, 0 good, 3 good, 1 good"},
		{16, []string{"65534", "65535", "0", "3"}, "0 good, 1 good, 1 good, 3 good"},
		{32, []string{"4294967290", "4"}, "0 good, 10 good"},
		{16, []string{"5000", "2", "3"}, "0 good, 0 lost, 1 good"},
		{32, []string{"65535", "0", "1"}, "0 good, 0 lost, 1 good"},
		{0, []string{"65535", "0"}, "0 good, 0 lost"},
		{16, []string{"0", "99", "9000", "9001"}, "0 good, 99 good, 0 storm, 1 good"},
		{0, []string{"4", "", "", "9"}, "0 good, 0 no-answer, 0 no-answer, 5 good"},
		{0, []string{"4", "-1", "1.5", "0x9", "drops", "18446744073709551616", "9"}, "0 good, 0 garbled, 0 garbled, 0 garbled, 0 garbled, 0 garbled, 5 good"},
		{0, append(append([]string{"4"}, gap...), "30", "31"), "0 good, " + strings.Repeat("0 no-answer, ", 21) + "26 lost, 1 good"},
	}
	for _, c := range cases {
		if got := said(t, c.bits, c.counts...); got != c.want {
			t.Errorf("%d bits, %v:\ngot  %s\nwant %s", c.bits, c.counts, got, c.want)
		}
	}
}

// Through any wrap-arounds, all drops that can fall are counted.
func TestNoDropIsMissedOrMadeUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]uint{16, 32}).Draw(t, "bits")
		c := tally{bits: bits}
		start := rapid.Uint64Range(0, 1<<bits-1).Draw(t, "start")
		var at time.Duration
		var fallen, counted uint64
		c.take(at, start)
		for range rapid.IntRange(1, 200).Draw(t, "readings") {
			step := time.Duration(rapid.Int64Range(int64(shortestEvery), int64(longestEvery)).Draw(t, "step"))
			at += step
			fallen += uint64(step.Seconds() * rapid.Float64Range(0, 24).Draw(t, "rate"))
			drops, q := c.take(at, (start+fallen)%(1<<bits))
			if counted += uint64(drops); q != reading.Good || counted != fallen {
				t.Fatalf("counted %d of %d, %s", counted, fallen, q)
			}
		}
	})
}

// The tree is laid out as Documentation/ABI/testing/sysfs-bus-counter says.
func TestNodes(t *testing.T) {
	const node = "testdata/sys/bus/counter/devices/counter0/count0"
	for path, want := range map[string]string{
		node:            "1208 <nil>",
		node + "/count": "1208 <nil>",
		node + "/name":  `0 no whole number from 0: "Channel 0\n"`,
		"testdata/sys":  "0 open testdata/sys/count: no such file or directory",
	} {
		n, err := readCount(path)
		if got := fmt.Sprint(n, " ", err); got != want {
			t.Errorf("%s: got %s, want %s", path, got, want)
		}
	}
}

func TestErrorsAreQualities(t *testing.T) {
	for err, want := range map[error]reading.Quality{
		syscall.ENODEV:         reading.NoAnswer,
		os.ErrNotExist:         reading.NoAnswer,
		os.ErrDeadlineExceeded: reading.NoAnswer,
		errNoCount:             reading.Garbled,
		syscall.EACCES:         reading.Fault,
		syscall.EISDIR:         reading.Fault,
	} {
		if got := qualityOf(err); got != want {
			t.Errorf("%v: %s, want %s", err, got, want)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	cases := []struct {
		cfg   Config
		gland string
		want  string
	}{
		{Config{}, "a", "no path"},
		{Config{Path: "x", Bits: 8}, "a", "counter x: 8 bits; want 16, 32 or 64"},
		{Config{Path: "x", Every: time.Minute}, "a", "every 1m0s; want 100ms to 9s"},
		{Config{Path: "x", Every: time.Millisecond}, "a", "every 1ms"},
		{Config{Path: "x", Timeout: 2 * time.Second}, "a", "timeout 2s"},
		{Config{Path: "x"}, "a b", "gland id"},
	}
	for _, c := range cases {
		if _, err := New(c.cfg, c.gland, nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("New(%+v) = %v, want %q", c.cfg, err, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"0\n", "18446744073709551615\n", "-1", "", "\x00", "1e3", strings.Repeat("9", 40)} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		n, err := parse(text)
		if err == nil && strings.TrimLeft(strings.TrimSpace(string(text)), "0") != strings.TrimLeft(fmt.Sprint(n), "0") {
			t.Fatalf("%q is %d", text, n)
		}
	})
}

func TestNotesShowTheCountAndWhatIsWrong(t *testing.T) {
	path := filepath.Join(t.TempDir(), "count")
	begun := time.Now()
	s, err := New(Config{Path: path, Every: shortestEvery}, "a", func() time.Duration { return time.Since(begun) })
	if err != nil {
		t.Fatal(err)
	}
	steps := []struct{ text, raw, cause string }{
		{"7", "count 7", ""}, {"9", "count 9", ""}, {"3", "count 3", "went back from 9"},
		{"9000", "count 9000", "leapt from 3"}, {"many", "", "no whole number"},
	}
	next := 0
	write := func() {
		if err := os.WriteFile(path, []byte(steps[next].text), 0o600); err != nil {
			t.Error(err)
		}
	}
	write()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	if err := s.Run(ctx, func(reading.Reading) {
		note := s.Notes()[0]
		if step := steps[next]; note.Raw != step.raw || !strings.Contains(note.Cause, step.cause) || (note.Cause == "") != (step.cause == "") {
			t.Errorf("%q: note %+v", step.text, note)
		}
		if next++; next == len(steps) {
			cancel()
			next--
			return
		}
		write()
	}); err != nil {
		t.Error(err)
	}
}
