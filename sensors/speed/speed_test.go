package speed

import (
	"context"
	"errors"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// wheel gives pulses as time passes.
type wheel struct {
	mu           sync.Mutex
	clock        sensors.Clock
	perSecond    float64
	fails, hangs bool
	freed        chan struct{}
}

func (w *wheel) pulses(context.Context) (uint64, error) {
	w.mu.Lock()
	hangs, freed := w.hangs, w.freed
	w.mu.Unlock()
	if hangs {
		<-freed
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.fails {
		return 0, errors.New("no such device")
	}
	return uint64(w.clock().Seconds() * w.perSecond), nil
}

type breaking struct {
	*wheel
	how func(*wheel)
}

func (b breaking) Break() { b.mu.Lock(); defer b.mu.Unlock(); b.how(b.wheel) }

func (b breaking) Mend() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.fails, b.hangs = false, false
	close(b.freed)
	b.freed = make(chan struct{})
}

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*wheel){
		"fails": func(w *wheel) { w.fails = true },
		"hangs": func(w *wheel) { w.hangs = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: 2 * defaultWindow,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					w := &wheel{clock: clock, perSecond: 24, freed: make(chan struct{})}
					s, err := New(Config{Name: "wheel"}, "a", w.pulses, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{w, how}
				},
			})
		})
	}
}

func TestTurning(t *testing.T) {
	const s = time.Second
	w := watch{cfg: Config{Name: "x", AtLeast: 4, Bits: 16}.withDefaults()}
	for i, step := range []struct {
		at    time.Duration
		total uint64
		err   error
		want  string
	}{
		{0, 65530, nil, ""},
		{2 * s, 65533, nil, "0 good"},
		{4 * s, 1, nil, "1 good"}, // 4, over the end
		{6 * s, 1, nil, "0 good"},
		{8 * s, 5, nil, "1 good"},
		{10 * s, 4, nil, "0 lost"},
		{12 * s, 8, nil, "1 good"},
		{14 * s, 60000, nil, "0 lost"},
		{16 * s, 60004, os.ErrDeadlineExceeded, "0 no-answer"},
		{18 * s, 60005, nil, ""}, // nothing to compare with
		{18 * s, 60005, nil, ""},
		{20 * s, 60009, nil, "1 good"},
		{20*s + 1900*time.Millisecond, 60013, nil, "1 good"},
		{26 * s, 60021, nil, "1 good"}, // 8 in 4.1 s
		{30 * s, 60024, nil, "0 good"},
	} {
		got := ""
		if f, ok := w.take(step.at, step.total, step.err); ok {
			got = map[float64]string{0: "0 ", 1: "1 "}[f.Value] + f.Quality.String()
		}
		if got != step.want {
			t.Errorf("step %d: %q, want %q", i, got, step.want)
		}
	}
}

func TestRefuses(t *testing.T) {
	for want, cfg := range map[string]Config{
		"no name":      {},
		"window 1m":    {Name: "x", Window: time.Minute},
		"65 bits":      {Name: "x", Bits: 65},
		"too soon":     {Name: "x", Bits: 8},
		"6000 a secon": {Name: "x", AtLeast: 1e9},
	} {
		if _, err := New(cfg, "a", nil, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", cfg, err, want)
		}
	}
	if _, err := New(Config{Name: "x"}, "a b", nil, nil); err == nil || !strings.Contains(err.Error(), "gland id") {
		t.Errorf("gland a b: %v", err)
	}
	if s, err := New(Config{Name: "x"}, "a", nil, nil); err != nil || s.Points()[0] != (reading.Point{Gland: "a", Kind: reading.Run}) {
		t.Errorf("got %v, %v", s, err)
	}
}
