package gpio

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

func contact(t testing.TB, cfg Config, p gpio.PinIn, clock sensors.Clock) *Contact {
	t.Helper()
	c, err := NewContact(cfg, "a", p, clock)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestContactConforms(t *testing.T) {
	sensortest.Conform(t, sensortest.Case{
		Every: sensors.WatchEvery,
		New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
			return contact(t, Config{}, newPin(), clock), nil
		},
	})
}

func TestContactTellsChangesThatLast(t *testing.T) {
	cases := []struct {
		cfg  Config
		want string
	}{
		{Config{Pull: "down", Edge: "rising"}, "0s:0 5.05s:1 5.1s:0 6.05s:1 15.05s:1 20.05s:0"},
		{Config{Pull: "down", Edge: "rising", Debounce: 100 * time.Millisecond}, "0s:0 6.15s:1 15.15s:1 20.15s:0"},
		{Config{Pull: "down", Debounce: 100 * time.Millisecond}, "0s:1 6.15s:0 15.15s:0 20.15s:1"},
	}
	for _, c := range cases {
		synctest.Test(t, func(t *testing.T) {
			begun := time.Now()
			p := newPin()
			var told []string
			ctx, cancel := context.WithTimeout(t.Context(), 25*time.Second)
			defer cancel()
			for at, level := range map[time.Duration]gpio.Level{
				5001: gpio.High, 5051: gpio.Low, 6001: gpio.High, 20001: gpio.Low,
			} {
				time.AfterFunc(at*time.Millisecond, func() { _ = p.Out(level) }) // the fake's Out cannot fail
			}
			err := contact(t, c.cfg, p, func() time.Duration { return time.Since(begun) }).Run(ctx, func(r reading.Reading) {
				told = append(told, fmt.Sprintf("%s:%g", r.At, r.Value))
			})
			if got := strings.Join(told, " "); err != nil || got != c.want {
				t.Errorf("%+v: got %s, %v\nwant %s", c.cfg, got, err, c.want)
			}
		})
	}
}

type refusing struct{ *gpiotest.Pin }

func (refusing) In(gpio.Pull, gpio.Edge) error { return errors.New("busy") }

func TestContactSetUp(t *testing.T) {
	c := contact(t, Config{}, refusing{&gpiotest.Pin{N: "RUN"}}, func() time.Duration { return 0 })
	if err := c.Run(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "set up gpio RUN for NoEdge: busy; check") {
		t.Errorf("Run = %v", err)
	}
	if _, err := NewContact(Config{Edge: "both"}, "a", newPin(), nil); err == nil {
		t.Error("a wrong edge passes")
	}
	if _, err := NewContact(Config{}, "", newPin(), nil); err == nil {
		t.Error("an empty gland id passes")
	}
	if _, err := OpenContact(Config{Pin: "NO_SUCH_PIN"}, "a", nil); err == nil || !strings.Contains(err.Error(), "gpio NO_SUCH_PIN: no such line") {
		t.Errorf("OpenContact = %v", err)
	}
}
