package gpio

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpioreg"
	"periph.io/x/conn/v3/gpio/gpiotest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// pin is periph's fake, which can also go deaf as a pin whose chip went away.
type pin struct {
	*gpiotest.Pin
	isDeaf atomic.Bool
	halted atomic.Bool
}

func newPin() *pin {
	return &pin{Pin: &gpiotest.Pin{N: "DRIP", EdgesChan: make(chan gpio.Level, 16)}} // 16 as the kernel's buffer
}

func (p *pin) WaitForEdge(d time.Duration) bool {
	if d <= 0 {
		panic("a wait without bound cannot be stopped")
	}
	return !p.isDeaf.Load() && p.Pin.WaitForEdge(d)
}

func (p *pin) Halt() error { p.halted.Store(true); return errors.New("nobody wants to know") }

// pulse loses what the buffer cannot hold, as the kernel does.
func (p *pin) pulse() {
	select {
	case p.EdgesChan <- gpio.Low:
	default:
	}
}

type deafness struct{ *pin }

func (d deafness) Break() { d.isDeaf.Store(true) }
func (d deafness) Mend()  { d.isDeaf.Store(false) }

// storm makes 1000 edges a second.
type storm struct {
	*pin
	stop chan bool
}

func (s *storm) Break() {
	go func() {
		for {
			select {
			case <-s.stop:
				return
			case <-time.After(time.Millisecond):
				s.pulse()
			}
		}
	}()
}

func (s *storm) Mend() { s.stop <- true }

func open(t testing.TB, cfg Config, p gpio.PinIn, clock sensors.Clock) *Source {
	t.Helper()
	s, err := New(cfg, "a", p, clock)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestConforms(t *testing.T) {
	for name, device := range map[string]func(*pin) sensortest.Device{
		"deaf":  func(p *pin) sensortest.Device { return deafness{p} },
		"storm": func(p *pin) sensortest.Device { return &storm{p, make(chan bool)} },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
				p := newPin()
				return open(t, Config{}, p, clock), device(p)
			}})
		})
	}
}

// watched runs a source in fake time while do plays with its pin.
func watched(t *testing.T, cfg Config, do func(*pin)) (got []reading.Reading) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		p := newPin()
		s := open(t, cfg, p, func() time.Duration { return time.Since(begun) })
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.Run(ctx, func(r reading.Reading) { got = append(got, r) }) }()
		time.Sleep(time.Second)
		do(p)
		cancel()
		if err := <-done; err != nil || !p.halted.Load() {
			t.Errorf("Run = %v, halted: %t", err, p.halted.Load())
		}
	})
	return got
}

func total(got []reading.Reading) (drops float64) {
	for _, r := range got {
		if r.Quality.OK() {
			drops += r.Value
		}
	}
	return drops
}

func TestEachEdgeIsOneDropWhenItFell(t *testing.T) {
	got := watched(t, Config{Edge: "rising", Pull: "down"}, func(p *pin) {
		for range 3 {
			time.Sleep(400 * time.Millisecond)
			p.pulse()
		}
		time.Sleep(20 * time.Second)
	})
	want := []string{"1.4s 1", "1.8s 1", "2.2s 1", "11.2s 0", "20.2s 0"}
	var have []string
	for _, r := range got {
		have = append(have, r.At.String()+map[float64]string{0: " 0", 1: " 1"}[r.Value])
	}
	if strings.Join(have, ", ") != strings.Join(want, ", ") {
		t.Errorf("got %v, want %v", have, want)
	}
}

func TestBounceIsOneDrop(t *testing.T) {
	got := watched(t, Config{Debounce: 5 * time.Millisecond}, func(p *pin) {
		for range 10 {
			for range 4 { // bounces for 3 ms
				p.pulse()
				time.Sleep(time.Millisecond)
			}
			time.Sleep(500 * time.Millisecond)
		}
	})
	if drops := total(got); drops != 10 {
		t.Errorf("%g drops, want 10", drops)
	}
}

func TestFastestDrippingIsNoStorm(t *testing.T) {
	const drops = 24 * 60
	got := watched(t, Config{}, func(p *pin) {
		for range drops {
			time.Sleep(time.Second / 24)
			p.pulse()
		}
		time.Sleep(time.Second)
	})
	if total(got) != drops {
		t.Errorf("%g drops, want %d", total(got), drops)
	}
}

func TestStormIsSaidOnceASecondUntilQuiet(t *testing.T) {
	got := watched(t, Config{}, func(p *pin) {
		for range 10_000 { // 10 s
			time.Sleep(time.Millisecond)
			p.pulse()
		}
		time.Sleep(3 * time.Second)
		p.pulse()
		time.Sleep(time.Second)
	})
	storms := 0
	for _, r := range got {
		if r.Quality == reading.Storm {
			storms++
		}
	}
	last := got[len(got)-1]
	if total(got) != stormEdges+1 || storms < 9 || storms > 12 || last.Value != 1 || !last.Quality.OK() {
		t.Errorf("%g drops, %d storm readings, last %v", total(got), storms, last)
	}
}

func TestSetUpFailureIsAnError(t *testing.T) {
	s := open(t, Config{}, &gpiotest.Pin{N: "DRIP"}, func() time.Duration { return 0 }) // no edges
	err := s.Run(t.Context(), func(reading.Reading) {})
	if err == nil || !strings.Contains(err.Error(), "set up gpio DRIP for FallingEdge") || !strings.Contains(err.Error(), "; check") {
		t.Errorf("Run = %v", err)
	}
}

func TestConfigFaults(t *testing.T) {
	cases := map[string]Config{
		`edge "both"; want rising or falling`: {Edge: "both"},
		`pull "high"; want up, down or none`:  {Pull: "high"},
		`debounce 150ms; want 0 to 100ms`:     {Debounce: 150 * time.Millisecond},
		`debounce -1ns`:                       {Debounce: -1},
		`by "chip"; want agent or kernel`:     {DebounceBy: "chip"},
	}
	for want, cfg := range cases {
		if _, err := New(cfg, "a", newPin(), nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("New(%+v) = %v, want %s", cfg, err, want)
		}
		cfg.Pin = "DRIP"
		if _, err := Open(cfg, "a", nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Open(%+v) = %v, want %s", cfg, err, want)
		}
	}
	if _, err := New(Config{}, "a b", newPin(), nil); err == nil {
		t.Error("a bad gland id passes")
	}
}

func TestOpenFindsPinsByName(t *testing.T) {
	p := newPin()
	p.N = "WEEPD_TEST_PIN"
	if err := gpioreg.Register(p); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := gpioreg.Unregister(p.N); err != nil {
			t.Error(err)
		}
	})
	s, err := Open(Config{Pin: p.N}, "a", nil)
	if err != nil || s.String() != "gpio WEEPD_TEST_PIN" {
		t.Errorf("Open = %v, %v", s, err)
	}
	for name, want := range map[string]string{"": "name one as `gpioinfo` lists them", "NO_SUCH_PIN": "no such line"} {
		if _, err := Open(Config{Pin: name}, "a", nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("Open(%q) = %v, want %q", name, err, want)
		}
	}
}
