package rtd

import (
	"context"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

var temp = reading.Point{Gland: "a", Kind: reading.Temp}

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*chip){
		"unplugged":      func(c *chip) { c.gone = true },
		"bus fails":      func(c *chip) { c.fails = true },
		"bus hangs":      func(c *chip) { c.hangs = true },
		"wire broken":    func(c *chip) { c.ohm, c.status = 1e6, faultRefHigh },
		"wires shorted":  func(c *chip) { c.ohm = 0.2 },
		"touches supply": func(c *chip) { c.status = faultVoltage },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: defaultEvery + defaultTimeout,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					c := newChip(107.79)
					s, err := New(Config{Bus: "0.0"}, temp, c, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{c, how}
				},
			})
		})
	}
}

// once runs a source until its first reading.
func once(t *testing.T, s *Source) (got reading.Reading) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		if err := s.Run(ctx, func(r reading.Reading) { got = r; cancel() }); err != nil {
			t.Fatal(err)
		}
	})
	return got
}

// One measurement as it goes over the wire: thresholds at 850 and -200 °C (Pt100
// on 430 Ω), three wires, 50 Hz; faults cleared, looked for, one conversion,
// current off. 402Ah is 107.78 Ω, near 20 °C.
func TestTranscript(t *testing.T) {
	write := func(w ...byte) conntest.IO { return conntest.IO{W: w, R: make([]byte, len(w))} }
	bus := &spitest.Playback{Playback: conntest.Playback{D: conn.Full, DontPanic: true, Ops: []conntest.IO{
		write(0x83, 0xE8, 0x78, 0x0B, 0x06),
		write(0x80, 0x93),
		write(0x80, 0x95),
		write(0x80, 0xB1),
		{W: make([]byte, 9), R: []byte{0, 0x91, 0x40, 0x2A, 0xE8, 0x78, 0x0B, 0x06, 0}},
		write(0x80, 0x11),
	}}}
	c, err := bus.Connect(clockRate, spi.Mode1, 8)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Config{Bus: "0.0"}, temp, c, func() time.Duration { return 7 * time.Second })
	if err != nil {
		t.Fatal(err)
	}
	r := once(t, s)
	want := CelsiusAt(float64(0x402A>>1)/fullScale*430, 100)
	if r.Quality != reading.Good || math.Abs(r.Value-want) > 1e-9 || r.At != 7*time.Second || r.Point != temp {
		t.Errorf("got %v, want %g °C", r, want)
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if notes := s.Notes(); len(notes) != 1 || notes[0].Raw != "107.78 Ω" {
		t.Errorf("notes %+v", notes)
	}
}

type closes struct{ n int }

func (c *closes) Close() error { c.n++; return nil }

// An adapter that is not there, comes, goes and comes again.
func TestOpensAgain(t *testing.T) {
	defer goleak.VerifyNone(t)
	c, door := newChip(107.79), &closes{}
	dials := 0
	dialled := func() (spi.Conn, io.Closer, error) {
		if dials++; dials == 1 {
			return nil, nil, errors.New("open /dev/spidev9.0: no such file")
		}
		return c, door, nil
	}
	s, err := newSource(Config{Bus: "9.0"}, temp, dialled, func() time.Duration { return 0 })
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		_ = s.Run(ctx, func(r reading.Reading) {
			got = append(got, r.Quality.String())
			c.mu.Lock()
			c.fails = len(got) == 2 // at the third question
			c.mu.Unlock()
			if len(got) == 4 {
				cancel()
			}
		})
	})
	if s := strings.Join(got, " "); s != "no-answer good no-answer good" || dials != 3 || door.n != 2 {
		t.Errorf("readings %s with %d dials, %d closed", s, dials, door.n)
	}
}

func TestRefuses(t *testing.T) {
	for want, bend := range map[string]func(*Config){
		"nominal":   func(c *Config) { c.NominalOhm = 500 },
		"reference": func(c *Config) { c.RefOhm = 90 },
		"printed":   func(c *Config) { c.RefOhm = math.NaN() },
		"5 wires":   func(c *Config) { c.Wires = 5 },
		"only with": func(c *Config) { c.LeadOhm = 1 },
		"leads":     func(c *Config) { c.LeadOhm, c.Wires = -1, 2 },
		"mains":     func(c *Config) { c.MainsHz = 400 },
		"every":     func(c *Config) { c.Every = time.Millisecond },
		"timeout":   func(c *Config) { c.Timeout = time.Minute },
	} {
		cfg := Config{Bus: "0.0"}
		bend(&cfg)
		if _, err := New(cfg, temp, nil, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	for _, p := range []reading.Point{{Gland: "a", Kind: reading.Run}, {Gland: "a b", Kind: reading.Temp}} {
		if _, err := New(Config{Bus: "0.0"}, p, nil, nil); err == nil || !strings.Contains(err.Error(), "temp or ref") {
			t.Errorf("%v: %v", p, err)
		}
	}
	for _, bus := range []string{"", "0", "0.0.0", "-1.0", "0.x", "/dev/spidev", "00.1"} {
		if _, err := Open(Config{Bus: bus}, temp, nil); err == nil || !strings.Contains(err.Error(), "such as 0.0") {
			t.Errorf("bus %q: %v", bus, err)
		}
	}
	for _, bus := range []string{"1.0", "SPI1.0", "/dev/spidev1.0"} {
		if s, err := Open(Config{Bus: bus}, temp, nil); err != nil || s.String() != "rtd SPI1.0" {
			t.Errorf("bus %q: %v, %v", bus, s, err)
		}
	}
}
