package gpio

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// sabotage breaks a chip by one change and mends it by another.
type sabotage struct {
	chip        *fakeChip
	broke, mend func(*fakeChip)
}

func (s sabotage) Break() { s.chip.set(s.broke) }
func (s sabotage) Mend()  { s.chip.set(s.mend) }

// fastStorm makes thousands of edges a second.
type fastStorm struct {
	chip *fakeChip
	kHz  int
	stop chan bool
}

func (s fastStorm) Break() {
	go func() {
		burst := make([]time.Duration, s.kHz)
		for {
			select {
			case <-s.stop:
				return
			case <-time.After(time.Millisecond):
			}
			for i := range burst {
				burst[i] = s.chip.host.clock() - time.Millisecond + time.Duration(i)*time.Millisecond/time.Duration(s.kHz)
			}
			s.chip.edges(burst...)
		}
	}()
}

func (s fastStorm) Mend() { s.stop <- true }

func breakages(c *fakeChip) map[string]sensortest.Device {
	return map[string]sensortest.Device{
		"unplugged": sabotage{c, func(c *fakeChip) { c.gone = true }, func(c *fakeChip) { c.gone = false }},
		"garbled":   sabotage{c, func(c *fakeChip) { c.garbles = true }, func(c *fakeChip) { c.garbles = false }},
		"taken": sabotage{c, func(c *fakeChip) { c.gone, c.lines[0].used = true, true },
			func(c *fakeChip) { c.gone, c.lines[0].used = false, false }},
	}
}

func TestKernelLineConforms(t *testing.T) {
	for name := range breakages(nil) {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
				h, c := oneLine()
				return onHost(t, h, Config{Pin: "DRIP"}, clock), breakages(c)[name]
			}})
		})
	}
	t.Run("storm", func(t *testing.T) {
		sensortest.Conform(t, sensortest.Case{New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
			h, c := oneLine()
			return onHost(t, h, Config{Pin: "DRIP"}, clock), fastStorm{c, 2, make(chan bool)}
		}})
	})
}

// ran runs a source on a host in fake time, while do plays with the line, and
// gives what it said.
func ran(t *testing.T, cfg Config, do func(*fakeChip)) (said []string) {
	t.Helper()
	cfg.Pin = "DRIP"
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		h, c := oneLine()
		s := onHost(t, h, cfg, func() time.Duration { return time.Since(begun) })
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() {
			done <- s.Run(ctx, func(r reading.Reading) { said = append(said, fmt.Sprintf("%s:%g %s", r.At, r.Value, r.Quality)) })
		}()
		time.Sleep(time.Second)
		do(c)
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run = %v", err)
		}
		if c.held != nil || c.opened != 0 {
			t.Errorf("left behind: line %v, %d open chips", c.held, c.opened)
		}
	})
	return said
}

func wants(t *testing.T, said []string, want string) {
	t.Helper()
	if got := strings.Join(said, ", "); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// However late they are read, edges count when they were.
func TestTimesAreTheKernels(t *testing.T) {
	said := ran(t, Config{}, func(c *fakeChip) {
		now := c.host.clock()
		time.Sleep(3 * time.Second)
		c.edges(now, now+250*time.Millisecond, now+2*time.Second)
		time.Sleep(8 * time.Second)
	})
	wants(t, said, "1s:1 good, 1.25s:1 good, 3s:1 good, 12s:0 good")
}

// An edge before a zero that was already told does not go back behind it.
func TestAtNeverGoesBack(t *testing.T) {
	said := ran(t, Config{}, func(c *fakeChip) {
		time.Sleep(9 * time.Second)
		c.edges(c.host.clock() - 1500*time.Millisecond)
		time.Sleep(time.Second)
	})
	wants(t, said, "9s:0 good, 9s:1 good")
}

// What did not fit is told with its number, and the rest is counted.
func TestLossIsToldWithItsNumber(t *testing.T) {
	const edges = mostWaiting + 76
	said := ran(t, Config{}, func(c *fakeChip) {
		at := make([]time.Duration, edges)
		for i := range at {
			at[i] = c.host.clock() + time.Duration(i)*50*time.Millisecond
		}
		time.Sleep(time.Minute)
		c.edges(at...)
		time.Sleep(time.Second)
	})
	var drops int
	var lost []string
	for _, s := range said {
		switch {
		case strings.HasSuffix(s, ":1 good"):
			drops++
		case strings.HasSuffix(s, "lost"):
			lost = append(lost, s)
		}
	}
	if want := "54s:76 lost"; drops != mostWaiting || strings.Join(lost, ", ") != want {
		t.Errorf("%d drops, lost %v; want %d and %s", drops, lost, mostWaiting, want)
	}
}

func TestUnpluggedComesBackWithoutFalseLoss(t *testing.T) {
	said := ran(t, Config{}, func(c *fakeChip) {
		for range 3 {
			c.drop()
		}
		time.Sleep(500 * time.Millisecond)
		c.set(func(c *fakeChip) { c.gone = true })
		time.Sleep(20 * time.Second)
		c.set(func(c *fakeChip) { c.gone = false })
		time.Sleep(5 * time.Second)
		c.drop()
		time.Sleep(time.Second)
	})
	wants(t, said, "1s:1 good, 1s:1 good, 1s:1 good, 3s:0 no-answer, 12s:0 no-answer, 21s:0 no-answer, 24s:0 good, 26.5s:1 good")
}

func TestStormOf100kHz(t *testing.T) {
	said := ran(t, Config{}, func(c *fakeChip) {
		s := fastStorm{c, 100, make(chan bool)}
		s.Break()
		time.Sleep(10 * time.Second)
		s.Mend()
		time.Sleep(3 * time.Second)
		c.drop()
		time.Sleep(time.Second)
	})
	drops, storms := 0, 0
	for _, s := range said {
		drops += strings.Count(s, ":1 good")
		storms += strings.Count(s, " storm")
	}
	if all := strings.Join(said, ", "); drops != stormEdges+1 || storms < 9 || storms > 12 || strings.Contains(all, "lost") {
		t.Errorf("%d drops, %d storm readings: %s", drops, storms, all)
	}
}

func TestDebounceIsByTheKernelsTimes(t *testing.T) {
	said := ran(t, Config{Debounce: 5 * time.Millisecond}, func(c *fakeChip) {
		now := c.host.clock()
		time.Sleep(time.Second) // all read at once
		c.edges(now, now+1*time.Millisecond, now+4999*time.Microsecond, now+5*time.Millisecond, now+6*time.Millisecond)
		time.Sleep(time.Second)
	})
	wants(t, said, "1s:1 good, 1.005s:1 good")
}

// The two clocks' difference stays exact however long the machine was busy
// between looking at one and at the other, once it was not.
func TestTimelineNarrowsDown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const offset = 1000 * time.Second
		var elapsed time.Duration
		busy := func() {
			elapsed += time.Duration(rapid.Int64Range(0, int64(50*time.Millisecond)).Draw(t, "busy"))
		}
		line := timeline{
			line:  func() time.Duration { now := elapsed; busy(); return now },
			clock: func() time.Duration { now := elapsed + offset; busy(); return now },
		}
		for range rapid.IntRange(0, 20).Draw(t, "looks") {
			line.look()
		}
		busy = func() { elapsed += 10 * time.Microsecond }
		line.look()
		event := elapsed
		busy()
		line.look()
		if wrong := line.of(event) - event - offset; wrong.Abs() > 20*time.Microsecond {
			t.Fatalf("off by %s", wrong)
		}
		if line.of(elapsed+time.Hour) > elapsed+offset {
			t.Fatal("an edge in the future")
		}
	})
}

func TestContactOnKernelLineConforms(t *testing.T) {
	sensortest.Conform(t, sensortest.Case{
		Every: sensors.WatchEvery,
		New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
			h, c := oneLine()
			cfg, open, err := prepare(h, Config{Pin: "DRIP", Debounce: 5 * time.Millisecond}, "a", clock)
			if err != nil {
				t.Fatal(err)
			}
			return newContact(cfg, "a", open, clock), breakages(c)["unplugged"]
		},
	})
}

// The level counts from the start; a chattering contact has not changed until
// it rests, and never makes more than one look in 10 ms.
func TestContactRestsBeforeItCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		h, c := oneLine()
		c.level = true
		clock := func() time.Duration { return time.Since(begun) }
		cfg, open, err := prepare(h, Config{Pin: "DRIP", Edge: "rising", Debounce: 20 * time.Millisecond}, "a", clock)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		var said []string
		go func() {
			done <- newContact(cfg, "a", open, clock).Run(ctx, func(r reading.Reading) {
				said = append(said, fmt.Sprintf("%s:%g", r.At, r.Value))
			})
		}()
		time.Sleep(2500 * time.Millisecond)
		for i := range 1000 { // chatters for a second
			c.set(func(c *fakeChip) { c.level = i%2 == 0 })
			c.drop()
			time.Sleep(time.Millisecond)
		}
		time.Sleep(6 * time.Second)
		cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		if len(said) != 2 || said[0] != "0s:1" || !strings.HasPrefix(said[1], "3.5") || !strings.HasSuffix(said[1], ":0") {
			t.Errorf("said %v", said)
		}
	})
}

func TestNotesShowEdgesAndWhatIsWrong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		h, c := oneLine()
		s := onHost(t, h, Config{Pin: "DRIP", Debounce: 10 * time.Millisecond}, func() time.Duration { return time.Since(begun) })
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.Run(ctx, func(reading.Reading) {}) }()
		note := func(raw, cause string) {
			t.Helper()
			n := s.Notes()[0]
			if n.Raw != raw || !strings.Contains(n.Cause, cause) || (n.Cause == "") != (cause == "") {
				t.Errorf("note %+v, want %q and %q", n, raw, cause)
			}
		}
		time.Sleep(time.Second)
		now := c.host.clock()
		c.edges(now-30*time.Millisecond, now-29*time.Millisecond, now-time.Millisecond) // the second is bounce
		time.Sleep(time.Second)
		note("3 edges", "")
		c.set(func(c *fakeChip) { c.gone = true })
		time.Sleep(3 * time.Second)
		note("3 edges", "no such device")
		c.set(func(c *fakeChip) { c.gone = false })
		time.Sleep(10 * time.Second)
		note("0 edges", "") // the kernel counts anew
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
