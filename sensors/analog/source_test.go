package analog

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

func two() Config {
	return Config{Channels: []Channel{
		{Point: temp, Input: 4, Low: 0, High: 160},
		{Point: run, Input: 5, Low: 0, High: 100, Turning: &sensors.Turning{Threshold: 10, Hysteresis: 2}},
	}}
}

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*chip){
		"unplugged":    func(c *chip) { c.absent = true },
		"all ones":     func(c *chip) { c.gone = true },
		"all zeros":    func(c *chip) { c.low = true },
		"hangs":        func(c *chip) { c.hangs = true },
		"another chip": func(c *chip) { c.deaf, c.config = true, 0x8583 },
		"never ends":   func(c *chip) { c.slow = true },
		"wires broken": func(c *chip) { c.inputs = [8]int16{} },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: shortestEvery * 2,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					c := newChip()
					c.inputs = warm
					s, err := New(two(), c, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{c, how}
				},
			})
		})
	}
}

// Two conversions as they go over the wire: AIN0 and AIN1 against ground, ±4.096
// V, single shot, 8 a second, comparator off (SBAS444, "Config Register"); the
// first is not ready at once. 9600 is 12 mA, 6400 is 8 mA on 100 Ω.
func TestTranscript(t *testing.T) {
	const at = 0x48
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		{Addr: at, W: []byte{1, 0xC3, 0x03}},
		{Addr: at, W: []byte{1}, R: []byte{0x43, 0x03}},
		{Addr: at, W: []byte{1}, R: []byte{0xC3, 0x03}},
		{Addr: at, W: []byte{0}, R: []byte{0x25, 0x80}},
		{Addr: at, W: []byte{1, 0xD3, 0x03}},
		{Addr: at, W: []byte{1}, R: []byte{0xD3, 0x03}},
		{Addr: at, W: []byte{0}, R: []byte{0x19, 0x00}},
	}}
	s, err := New(two(), bus, func() time.Duration { return 7 })
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		_ = s.Run(ctx, func(r reading.Reading) {
			got = append(got, fmt.Sprintf("%s %g %s", r.Point, r.Value, r.Quality))
			if len(got) == 2 {
				cancel()
			}
		})
	})
	if all := strings.Join(got, ", "); all != "a.temp 80 good, a.run 1 good" {
		t.Errorf("got %s", all)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if n := s.Notes(); n[0].Raw != "12.000 mA" || n[1].Raw != "8.000 mA" {
		t.Errorf("notes %+v", n)
	}
}

func TestInputs(t *testing.T) {
	for i := range Input(8) {
		if got, err := ParseInput(i.String()); got != i || err != nil {
			t.Errorf("%s: %v, %v", i, got, err)
		}
	}
	if _, err := ParseInput("4"); err == nil {
		t.Error("there is no input 4")
	}
}

func TestRefuses(t *testing.T) {
	for want, bend := range map[string]func(*Config){
		"address":           func(c *Config) { c.Address = 0x50 },
		"0 channels":        func(c *Config) { c.Channels = nil },
		"every":             func(c *Config) { c.Every = time.Millisecond },
		"timeout":           func(c *Config) { c.Timeout = time.Minute },
		"twice":             func(c *Config) { c.Channels[1] = c.Channels[0] },
		"want temp":         func(c *Config) { c.Channels[0].Point.Kind = reading.Drip },
		"ParseInput":        func(c *Config) { c.Channels[0].Input = 8 },
		"signal":            func(c *Config) { c.Channels[0].Signal = 7 },
		"at most 5":         func(c *Config) { c.Channels[0].ShuntOhm = 250 },
		"more than":         func(c *Config) { c.Channels[0].ShuntOhm = 0.1 },
		"shunt -1":          func(c *Config) { c.Channels[0].ShuntOhm = -1 },
		"two different":     func(c *Config) { c.Channels[0].High = 0 },
		"needs a threshold": func(c *Config) { c.Channels[1].Turning = nil },
		"no other":          func(c *Config) { c.Channels[0].Turning = &sensors.Turning{} },
		"hysteresis":        func(c *Config) { c.Channels[1].Turning.Hysteresis = -1 },
		"/dev/i2c-1":        func(c *Config) { c.Bus = "one" },
	} {
		cfg := two()
		bend(&cfg)
		if _, err := Open(cfg, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	for _, bus := range []string{"", "1", "I2C1", "/dev/i2c-1"} {
		cfg := two()
		cfg.Bus = bus
		cfg.Channels[0].Point = ref
		if s, err := Open(cfg, nil); err != nil || s.String() != "analog I2C1/48" {
			t.Errorf("bus %q: %v, %v", bus, s, err)
		}
	}
}
