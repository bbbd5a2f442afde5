//go:build kernel

package kernel

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/gpio"
)

func drops(t *testing.T, cfg gpio.Config, clock sensors.Clock) sensors.Source {
	t.Helper()
	s, err := gpio.Open(cfg, "a", clock)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// settled gives a source time to ask for its line.
func settled() { time.Sleep(300 * time.Millisecond) }

const busyProcesses = 3

// Every drop is counted, and timed to 1 ms by the clock of what made it, while
// more processes want the one processor.
func TestDropsUnderLoad(t *testing.T) {
	for _, p := range []pulses{
		{"DRIP-A", 1, 8, 50 * time.Millisecond},
		{"DRIP-B", 10, 100, 20 * time.Millisecond},
		{"DRIP-A", 100, 1000, 2 * time.Millisecond},
		{"DRIP-B", 300, 3000, time.Millisecond},
	} {
		t.Run(fmt.Sprintf("%d a second", p.perSecond), func(t *testing.T) {
			steady, behind := clocks()
			r := run(t, drops(t, gpio.Config{Pin: p.line, Debounce: time.Millisecond}, steady), nil)
			settled()
			burning(t, busyProcesses)
			spans := toggled(t, p)()
			if len(spans) != p.count {
				t.Fatalf("%d pulses were made, want %d", len(spans), p.count)
			}
			settled()
			settled()
			r.stop()
			if got := r.total(); got != p.count || len(r.drops()) != p.count {
				t.Fatalf("counted %d of %d; %d lost, %d storms", got, p.count, r.count(reading.Lost), r.count(reading.Storm))
			}
			checkTimes(t, spans, r.drops(), behind)
		})
	}
}

// Drops that wait in the kernel until they are asked for, each second, are the same
// ones at the same times.
func TestDropsThatWaitToBeAskedFor(t *testing.T) {
	for _, p := range []pulses{{"DRIP-A", 2, 10, 20 * time.Millisecond}, {"DRIP-B", 300, 3000, time.Millisecond}} {
		t.Run(fmt.Sprintf("%d a second", p.perSecond), func(t *testing.T) {
			steady, behind := clocks()
			s := drops(t, gpio.Config{Pin: p.line, Debounce: time.Millisecond}, steady)
			patience := sensors.NewPatience(true)
			s.(sensors.Patient).Heed(patience)
			r := run(t, s, nil)
			asked := askedEachSecond(t, patience)
			spans := toggled(t, p)()
			settled()
			r.stop()
			if got := r.total(); got != p.count || len(r.drops()) != p.count || asked() < p.count/p.perSecond/2 {
				t.Fatalf("counted %d of %d, asked %d times; %d lost, %d storms", got, p.count, asked(), r.count(reading.Lost), r.count(reading.Storm))
			}
			checkTimes(t, spans, r.drops(), behind)
		})
	}
}

// askedEachSecond asks until the test ends; it gives how often.
func askedEachSecond(t *testing.T, p *sensors.Patience) func() int {
	t.Helper()
	var asked atomic.Int32
	ctx, done := t.Context(), make(chan struct{})
	go func() {
		defer close(done)
		for sensors.Pause(ctx, time.Second); ctx.Err() == nil; sensors.Pause(ctx, time.Second) {
			if p.Ask(func() {}) {
				asked.Add(1)
			}
		}
	}()
	t.Cleanup(func() { <-done })
	return func() int { return int(asked.Load()) }
}

// checkTimes: each drop is no earlier than the pull and less than 1 ms later.
func checkTimes(t *testing.T, spans []span, drops []reading.Reading, behind time.Duration) {
	t.Helper()
	var late []time.Duration
	for i, d := range drops {
		late = append(late, d.At-behind-spans[i].before)
	}
	slices.Sort(late)
	n := len(late)
	t.Logf("measured: %d of %d counted; later than the toggler's clock by %s to %s, median %s, 99 %% below %s",
		n, len(spans), late[0].Round(time.Microsecond), late[n-1].Round(time.Microsecond), late[n/2].Round(time.Microsecond),
		late[n*99/100].Round(time.Microsecond))
	if late[0] < -100*time.Microsecond || late[n-1] > time.Millisecond {
		t.Errorf("time stamps are off by %s to %s, want 1 ms at most", late[0], late[n-1])
	}
}

// Lines by name, by number, in any capitals; what cannot be had says why.
func TestLinesByName(t *testing.T) {
	steady, _ := clocks()
	r := run(t, drops(t, gpio.Config{Pin: "drip-a"}, steady), nil)
	byNumber := run(t, drops(t, gpio.Config{Pin: "gpiochip0:1"}, steady), nil)
	settled()
	toggled(t, pulses{"DRIP-A", 50, 5, 5 * time.Millisecond})()
	toggled(t, pulses{"DRIP-B", 50, 7, 5 * time.Millisecond})()
	until(t, "both count", func() bool { return r.total() == 5 && byNumber.total() == 7 })
	for pin, want := range map[string]string{
		"DRIP-A":       `gpiochip0:0 is in use by "weepd"`,
		"DRIP-Z":       "names DRIP-A DRIP-B STORM RUN COUNT",
		"gpiochip0:99": "no such line; there are: gpiochip0:0 to :5",
	} {
		_, err := gpio.Open(gpio.Config{Pin: pin}, "b", steady)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", pin, err, want)
		}
	}
}

// While the agent is held up for 5 s more edges come than the kernel keeps: what
// is lost is told with its number, and the rest is counted.
func TestLossIsTold(t *testing.T) {
	const made, kept = 1500, 1024
	steady, _ := clocks()
	held := true
	r := run(t, drops(t, gpio.Config{Pin: "DRIP-A"}, steady), func(one reading.Reading) {
		if held && one.Value > 0 {
			held = false
			time.Sleep(8 * time.Second)
		}
	})
	settled()
	spans := toggled(t, pulses{"DRIP-A", 300, made, time.Millisecond})()
	until(t, "the rest is told", func() bool { return r.count(reading.Lost) > 0 && r.last().Value == 1 })
	settled()
	r.stop()
	lost := 0
	for _, one := range r.all() {
		if one.Quality == reading.Lost {
			lost += int(one.Value)
		}
	}
	t.Logf("measured: %d made, %d counted, %d told as lost", len(spans), r.total(), lost)
	if r.total() < kept || r.total()+lost != made {
		t.Errorf("%d counted and %d lost of %d", r.total(), lost, made)
	}
}

// A storm on one line is a fault of that line, in bounded memory; the drops of
// another are all counted meanwhile.
func TestStormLeavesOthersAlone(t *testing.T) {
	steady, behind := clocks()
	storm := run(t, drops(t, gpio.Config{Pin: "STORM"}, steady), nil)
	calm := run(t, drops(t, gpio.Config{Pin: "DRIP-A"}, steady), nil)
	settled()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	dripping := toggled(t, pulses{"DRIP-A", 10, 20, 20 * time.Millisecond})
	edges := int(toggled(t, pulses{line: "STORM"})()[0].before)
	spans := dripping()
	runtime.ReadMemStats(&after)
	settled()
	grown := int64(after.HeapSys) - int64(before.HeapSys)
	t.Logf("measured: a storm of %d edges a second: %d readings of it, heap grown by %d kB, %d of 20 drops of the other line",
		edges, len(storm.all()), grown/1024, calm.total())
	if storm.count(reading.Storm) == 0 {
		t.Errorf("no storm was told: %v", storm.last())
	}
	if grown > 8<<20 {
		t.Errorf("the heap grew by %d bytes", grown)
	}
	until(t, "the storm is over", func() bool { return storm.last().Quality.OK() })
	if calm.total() != 20 || len(calm.all()) > 25 {
		t.Errorf("the other line: %d of 20 drops, %d readings", calm.total(), len(calm.all()))
	}
	calm.stop()
	if len(spans) == 20 && calm.total() == 20 {
		checkTimes(t, spans, calm.drops(), behind)
	}
	toggled(t, pulses{"STORM", 10, 3, 20 * time.Millisecond})()
	until(t, "it counts again", func() bool { return storm.last().Value == 1 })
}

// A chip that goes away is no answer, and counts again when it is back.
func TestUnplugged(t *testing.T) {
	const live = "/sys/kernel/config/gpio-sim/plug/live"
	steady, _ := clocks()
	r := run(t, drops(t, gpio.Config{Pin: "UNPLUG"}, steady), nil)
	settled()
	toggled(t, pulses{"UNPLUG", 20, 5, 5 * time.Millisecond})()
	until(t, "5 drops are told", func() bool { return r.total() == 5 })
	put(t, live, "0")
	until(t, "it does not answer", func() bool { return r.last().Quality == reading.NoAnswer })
	put(t, live, "1")
	until(t, "it answers again", func() bool { return r.last().Quality.OK() })
	toggled(t, pulses{"UNPLUG", 20, 7, 5 * time.Millisecond})()
	until(t, "7 more are told", func() bool { return r.total() == 12 })
	if n := r.count(reading.Lost) + r.count(reading.Garbled) + r.count(reading.Storm); n > 0 {
		t.Errorf("%d readings of other faults", n)
	}
}

// The kernel's debounce wants a level to last, ours takes the first edge: a
// pulse of 2 ms, as a drop makes in a light barrier, is seen by ours alone.
func TestWhoDebounces(t *testing.T) {
	for _, c := range []struct {
		by   string
		low  time.Duration
		want int
	}{
		{"agent", 2 * time.Millisecond, 20},
		{"kernel", 2 * time.Millisecond, 0},
		{"agent", 40 * time.Millisecond, 20},
		{"kernel", 40 * time.Millisecond, 20},
	} {
		steady, behind := clocks()
		r := run(t, drops(t, gpio.Config{Pin: "DRIP-A", Debounce: 5 * time.Millisecond, DebounceBy: c.by}, steady), nil)
		settled()
		spans := toggled(t, pulses{"DRIP-A", 10, 20, c.low})()
		settled()
		r.stop()
		late := time.Duration(0)
		for i, d := range r.drops() {
			if i < len(spans) {
				late = max(late, (d.At - behind - spans[i].before).Abs())
			}
		}
		t.Logf("measured: by %s, pulses of %s: %d of 20, off by %s at most", c.by, c.low, r.total(), late.Round(time.Microsecond))
		if r.total() != c.want {
			t.Errorf("by %s, pulses of %s: %d counted, want %d", c.by, c.low, r.total(), c.want)
		}
	}
}

// A shaft's contact tells its level from the start, and each change.
func TestContact(t *testing.T) {
	steady, _ := clocks()
	pull := pullOf(t, "RUN")
	put(t, pull, "pull-down")
	c, err := gpio.OpenContact(gpio.Config{Pin: "RUN", Debounce: 20 * time.Millisecond}, "a", steady)
	if err != nil {
		t.Fatal(err)
	}
	r := run(t, c, nil)
	for _, step := range []struct {
		pull string
		want float64
	}{{"", 1}, {"pull-up", 0}, {"pull-down", 1}} {
		if step.pull != "" {
			put(t, pull, step.pull)
		}
		until(t, fmt.Sprintf("the shaft is %g", step.want), func() bool {
			return len(r.all()) > 0 && r.last().Quality.OK() && r.last().Value == step.want
		})
	}
	if n := len(r.all()); n != 3 {
		t.Errorf("%d readings, want one of each state", n)
	}
}
