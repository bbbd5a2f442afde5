package thermocouple

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

var (
	temp = reading.Point{Gland: "a", Kind: reading.Temp}
	ref  = reading.Point{Gland: "a", Kind: reading.Ref}
)

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*chip){
		"unplugged":      func(c *chip) { c.gone = true },
		"bus fails":      func(c *chip) { c.fails = true },
		"bus hangs":      func(c *chip) { c.hangs = true },
		"touches supply": func(c *chip) { c.status = faultOVUV },
		"another chip":   func(c *chip) { c.powerUp(); c.deaf = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: defaultEvery + defaultTimeout,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					c := newChip()
					s, err := New(Config{Bus: "0.0", Hot: temp, Cold: ref}, c, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{c, how}
				},
			})
		})
	}
}

// run lets a source read n times.
func run(t *testing.T, s *Source, n int, each func(int)) (got []string) {
	t.Helper()
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
	return got
}

// The way of a chip after power-on: it is asked, set up while it is off,
// switched on, asked again (K, 50 Hz; 100.9375 °C, cold junction 25 °C), and from
// then on only asked, until it opens.
func TestTranscript(t *testing.T) {
	write := func(w ...byte) conntest.IO { return conntest.IO{W: w, R: make([]byte, len(w))} }
	read := func(r ...byte) conntest.IO { return conntest.IO{W: make([]byte, 17), R: append([]byte{0}, r...)} }
	bus := &spitest.Playback{Playback: conntest.Playback{D: conn.Full, DontPanic: true, Ops: []conntest.IO{
		read(0, 3, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0, 0, 0, 0, 0, 0),
		write(0x80, 0x11, 0x23, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0),
		write(0x80, 0x91),
		read(0x91, 0x23, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0x19, 0, 0x06, 0x4F, 0, 0),
		read(0x91, 0x23, 0xFF, 0x7F, 0xC0, 0x7F, 0xFF, 0x80, 0, 0, 0x19, 0, 0x06, 0x4F, 0, 1),
	}}}
	c, err := bus.Connect(clockRate, spi.Mode1, 8)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Config{Bus: "0.0", Hot: temp, Cold: ref}, c, func() time.Duration { return 7 })
	if err != nil {
		t.Fatal(err)
	}
	got := run(t, s, 4, func(int) {})
	want := []string{"a.temp 100.9375 good", "a.ref 25 good", "a.temp 0 open-circuit", "a.ref 25 good"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
}

func TestAChipThatLostItsPowerReadsAtOnce(t *testing.T) {
	c := newChip()
	s, err := New(Config{Bus: "0.0", Hot: temp}, c, func() time.Duration { return 7 })
	if err != nil {
		t.Fatal(err)
	}
	got := run(t, s, 3, func(int) { c.mu.Lock(); c.powerUp(); c.mu.Unlock() })
	if s := strings.Join(got, ","); s != "a.temp 100.9375 good,a.temp 100.9375 good,a.temp 100.9375 good" {
		t.Errorf("got %s", s)
	}
}

func TestRefuses(t *testing.T) {
	for want, bend := range map[string]func(*Config){
		"point a.run":   func(c *Config) { c.Hot.Kind = reading.Run },
		"cold junction": func(c *Config) { c.Cold = temp },
		"type(9)":       func(c *Config) { c.Type = 9 },
		"mains":         func(c *Config) { c.MainsHz = 400 },
		"every":         func(c *Config) { c.Every = time.Second },
		"timeout":       func(c *Config) { c.Timeout = time.Minute },
	} {
		cfg := Config{Bus: "0.0", Hot: temp}
		bend(&cfg)
		if _, err := New(cfg, nil, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	if _, err := Open(Config{Bus: "x", Hot: temp}, nil); err == nil || !strings.Contains(err.Error(), "such as 0.0") {
		t.Errorf("bus x: %v", err)
	}
	if s, err := Open(Config{Bus: "/dev/spidev9.1", Hot: temp}, nil); err != nil || s.String() != "thermocouple SPI9.1" {
		t.Errorf("got %v, %v", s, err)
	}
}

// A bus that is not there is no answer, with the way to mend it.
func TestNoSuchBus(t *testing.T) {
	s, err := Open(Config{Bus: "97.1", Hot: temp}, func() time.Duration { return 0 })
	if err != nil {
		t.Fatal(err)
	}
	got := run(t, s, 1, func(int) {})
	if got[0] != "a.temp 0 no-answer" || !strings.Contains(s.Notes()[0].Cause, "/dev/spidev97.1") {
		t.Errorf("got %q, %+v", got, s.Notes())
	}
}
