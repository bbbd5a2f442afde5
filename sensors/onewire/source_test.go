package onewire

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/onewire/onewiretest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

var (
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
	ref  = reading.Point{Gland: "a", Kind: reading.Ref}
)

func address(t testing.TB, s string) onewire.Address {
	t.Helper()
	a, err := ParseAddress(s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func two(t testing.TB) Config {
	return Config{Sensors: []Sensor{{address(t, "28-000001318252"), temp}, {address(t, "28-000005e2fdc3"), ref}}}
}

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*bus){
		"unplugged":    func(b *bus) { b.gone = true },
		"shorted":      func(b *bus) { b.shorted = true },
		"bus fails":    func(b *bus) { b.fails = true },
		"bus hangs":    func(b *bus) { b.hangs = true },
		"little power": func(b *bus) { b.weak = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: defaultEvery + defaultEvery/2,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					cfg := two(t)
					b := newBus(cfg.Sensors[0].Address, cfg.Sensors[1].Address)
					s, err := New(cfg, b, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{b, how}
				},
			})
		})
	}
}

// run lets a source read n values.
func run(t *testing.T, s *Source, n int, each func(int)) string {
	t.Helper()
	var got []string
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		_ = s.Run(ctx, func(r reading.Reading) {
			got = append(got, fmt.Sprintf("%s %g %s", r.Point, r.Value, r.Quality))
			each(len(got))
			if len(got) == n {
				cancel()
			}
		})
	})
	return strings.Join(got, ", ")
}

// A sensor is marked at first contact, all convert, it is read; the second time
// there is no need to mark. The EEPROM holds 4B 46 7F.
func TestTranscript(t *testing.T) {
	const rom = "\x55\x28\x52\x82\x31\x01\x00\x00\x7a"
	at := func(command string, r []byte) onewiretest.IO { return onewiretest.IO{W: []byte(rom + command), R: r} }
	answer := func(raw uint16, mark [3]byte, byte6 byte) []byte { p := pad(raw, mark, byte6); return p[:] }
	all := onewiretest.IO{W: []byte{0xCC, 0x44}, Pull: onewire.StrongPullup}
	bus := &onewiretest.Playback{DontPanic: true, Ops: []onewiretest.IO{
		at("\xB8", nil),
		at("\xBE", answer(0x0550, [3]byte{0x4B, 0x46, 0x7F}, 0x0C)),
		at("\x4E\xB4\xB9\x7F", nil),
		all,
		at("\xBE", answer(0x0191, someMark, 0x0F)),
		all,
		at("\xBE", answer(0xFF5E, someMark, 0x02)),
	}}
	cfg := two(t)
	cfg.Sensors = cfg.Sensors[:1]
	s, err := New(cfg, bus, func() time.Duration { return 7 })
	if err != nil {
		t.Fatal(err)
	}
	if got := run(t, s, 2, func(int) {}); got != "a.temp 25.0625 good, a.temp -10.125 good" {
		t.Errorf("got %s", got)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
}

// Another's sensor that is missing does not hold up this one; one that lost its
// power, and so shows 85 °C, is told, and reads again the next time.
func TestOneOfTwo(t *testing.T) {
	cfg := two(t)
	b := newBus(cfg.Sensors[0].Address)
	s, err := New(cfg, b, func() time.Duration { return 7 })
	if err != nil {
		t.Fatal(err)
	}
	got := run(t, s, 8, func(n int) {
		b.mu.Lock()
		b.weak = n == 2
		b.mu.Unlock()
	})
	want := "a.temp 25.0625 good, a.ref 0 no-answer, a.temp 0 no-answer, a.ref 0 no-answer, " +
		"a.temp 25.0625 good, a.ref 0 no-answer, a.temp 25.0625 good, a.ref 0 no-answer"
	if got != want {
		t.Errorf("got\n%s, want\n%s", got, want)
	}
}

func TestRefuses(t *testing.T) {
	for want, bend := range map[string]func(*Config){
		"0 sensors":     func(c *Config) { c.Sensors = nil },
		"a.run":         func(c *Config) { c.Sensors[0].Point.Kind = reading.Run },
		"not a DS18B20": func(c *Config) { c.Sensors[0].Address++ },
		"twice":         func(c *Config) { c.Sensors[1] = c.Sensors[0] },
		"every":         func(c *Config) { c.Every = time.Second },
		"timeout":       func(c *Config) { c.Timeout = time.Minute },
		"want the numb": func(c *Config) { c.Bus = "w1_bus_master1" },
	} {
		cfg := two(t)
		bend(&cfg)
		if _, err := Open(cfg, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	if s, err := Open(two(t), nil); err != nil || s.String() != "1-wire bus 1" || len(s.Points()) != 2 {
		t.Errorf("got %v, %v", s, err)
	}
}
