package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	wire "github.com/simonvetter/modbus"

	"weepd/rules/reading"
	"weepd/sensors"
	"weepd/sensors/sensortest"
)

// station: a drip counter, a temperature and a contact in unit 1, a reference in
// unit 2.
func station() Config {
	return Config{URL: "rtu:///dev/ttyUSB0", Registers: []Register{
		reg(drip, U32, func(r *Register) { r.Address = 20 }),
		reg(temp, I16, func(r *Register) { r.Address, r.Scale = 10, 0.1 }),
		reg(run, U16, func(r *Register) { r.Table, r.Address = Discrete, 3 }),
		reg(ref, I16, func(r *Register) { r.Unit, r.Scale = 2, 0.1 }),
	}}
}

func TestConforms(t *testing.T) {
	for name, how := range map[string]func(*line){
		"refused":   func(l *line) { l.refused, l.units[1].err, l.units[2].err = true, io.EOF, io.EOF },
		"time-outs": func(l *line) { l.setAll(wire.ErrRequestTimedOut) },
		"garbled":   func(l *line) { l.setAll(wire.ErrBadCRC) },
		"exception": func(l *line) { l.setAll(wire.ErrServerDeviceFailure) },
		"short":     func(l *line) { l.setAll(wire.ErrShortFrame) },
		"hangs":     func(l *line) { l.hangs = true },
	} {
		t.Run(name, func(t *testing.T) {
			sensortest.Conform(t, sensortest.Case{
				Every: sensors.WatchEvery,
				New: func(t testing.TB, clock sensors.Clock) (sensors.Source, sensortest.Device) {
					l := newLine(1, 2)
					s, err := newSource(station(), l.dial, clock)
					if err != nil {
						t.Fatal(err)
					}
					return s, breaking{l, how}
				},
			})
		})
	}
}

// watch runs a source for a time, in fake time, and gives the good and bad
// readings of each point.
func watch(t *testing.T, cfg Config, l *line, span time.Duration, meanwhile func(time.Duration)) (*Source, map[string]int, []reading.Reading) {
	t.Helper()
	counts := make(map[string]int)
	var all []reading.Reading
	var s *Source
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		clock := func() time.Duration { return time.Since(began) }
		var err error
		if s, err = newSource(cfg, l.dial, clock); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), span)
		defer cancel()
		if meanwhile != nil {
			go func() {
				for at := time.Duration(0); ctx.Err() == nil; at += 100 * time.Millisecond {
					l.mu.Lock()
					meanwhile(at)
					l.mu.Unlock()
					sensors.Pause(ctx, 100*time.Millisecond)
				}
			}()
		}
		if err := s.Run(ctx, func(r reading.Reading) {
			counts[r.Point.String()+" "+r.Quality.String()]++
			all = append(all, r)
		}); err != nil {
			t.Error(err)
		}
	})
	return s, counts, all
}

// A unit that is off costs a time-out at each try; the others are asked once a
// second all the same.
func TestOneSilentUnitDoesNotHoldUpTheOthers(t *testing.T) {
	l := newLine(1)
	var perSecond int
	_, counts, _ := watch(t, station(), l, time.Minute, func(at time.Duration) {
		if at == 58*time.Second {
			perSecond = l.units[1].asked
		}
	})
	// Unit 1 has two blocks.
	if perSecond < 2*50 {
		t.Errorf("unit 1 was asked %d times in 58 s, want some 116", perSecond)
	}
	if l.absent > 12 { // 1, 2, 4, 8 and then every 10 s
		t.Errorf("the silent unit was asked %d times", l.absent)
	}
	if counts["a.ref no-answer"] < 6 || counts["a.ref good"] > 0 {
		t.Errorf("the silent unit gave %v", counts)
	}
	for _, p := range []string{"a.temp", "a.drip", "a.run"} {
		if counts[p+" good"] < 10 || counts[p+" no-answer"] > 0 {
			t.Errorf("%s: %v", p, counts)
		}
	}
}

// Drops are counted exactly while the device counts, and their restart is told.
func TestDripCounter(t *testing.T) {
	l := newLine(1, 2)
	l.units[1].registers = [200]uint16{20: 0xFFFF, 21: 0xFFF0} // 32 bits, about to wrap around
	fell := 0
	_, counts, all := watch(t, station(), l, time.Minute, func(at time.Duration) {
		u := l.units[1]
		switch {
		case at == 40*time.Second:
			u.registers[20], u.registers[21] = 0, 0
		case at%(500*time.Millisecond) == 0 && at > 0 && at < 30*time.Second:
			fell++
			if u.registers[21]++; u.registers[21] == 0 {
				u.registers[20]++
			}
		}
	})
	total, lost := 0.0, 0
	for _, r := range all {
		if r.Point == drip && r.Quality.OK() {
			total += r.Value
		}
		if r.Quality == reading.Lost {
			lost++
		}
	}
	if total != float64(fell) || fell < 50 || lost != 1 {
		t.Errorf("%d fell, %g counted, %d times lost; %v", fell, total, lost, counts)
	}
}

// A device that does not let gaps be read along is asked for each register.
func TestGapsThatDoNotExist(t *testing.T) {
	l := newLine(1, 2)
	l.units[1].none[15] = true
	l.units[1].registers[10] = 415
	cfg := station()
	cfg.MaxGap = 20
	s, counts, _ := watch(t, cfg, l, 10*time.Second, nil)
	if counts["a.temp good"] == 0 || counts["a.drip good"] == 0 || counts["a.temp fault"] > 0 {
		t.Errorf("%v, %+v", counts, s.Notes())
	}
	if n := l.units[1].refusals; n != 1 {
		t.Errorf("refused %d times, want once and never again", n)
	}
	l.units[1].none[10] = true // and one that is wanted
	s, counts, _ = watch(t, cfg, l, 10*time.Second, nil)
	if counts["a.temp fault"] == 0 || counts["a.drip good"] == 0 || counts["a.temp good"] > 0 || !strings.Contains(s.Notes()[1].Cause, "exception 2") {
		t.Errorf("%v, %+v", counts, s.Notes())
	}
	if l.closed > 2 {
		t.Errorf("an exception closed the connection: %d times", l.closed)
	}
}

func TestShortAnswers(t *testing.T) {
	l := newLine(1, 2)
	l.units[1].short = true
	s, counts, _ := watch(t, station(), l, 10*time.Second, nil)
	if counts["a.temp garbled"] == 0 || counts["a.temp good"] > 0 || counts["a.ref good"] == 0 {
		t.Errorf("%v, %+v", counts, s.Notes())
	}
}

func TestCausesAreToldApart(t *testing.T) {
	type want struct {
		q     reading.Quality
		words string
	}
	for err, w := range map[error]want{
		wire.ErrRequestTimedOut:                  {reading.NoAnswer, "no answer within 1s"},
		wire.ErrBadCRC:                           {reading.Garbled, "bad crc"},
		wire.ErrShortFrame:                       {reading.Garbled, "short frame"},
		wire.ErrBadUnitId:                        {reading.Garbled, "two units"},
		wire.ErrIllegalFunction:                  {reading.Fault, "exception 1"},
		wire.ErrIllegalDataAddress:               {reading.Fault, "exception 2"},
		wire.ErrServerDeviceFailure:              {reading.Fault, "exception 4"},
		wire.ErrServerDeviceBusy:                 {reading.NoAnswer, "exception 6"},
		wire.ErrGWPathUnavailable:                {reading.NoAnswer, "exception 10"},
		wire.ErrGWTargetFailedToRespond:          {reading.NoAnswer, "exception 11"},
		errors.New("unknown exception code (7)"): {reading.Fault, "code (7)"},
		fmt.Errorf("read: %w", io.EOF):           {reading.NoAnswer, "closed the connection"},
		errors.New("something else"):             {reading.NoAnswer, "something else"},
		&timeoutError{}:                          {reading.NoAnswer, "no connection in time"},
	} {
		f := findingOf(err, time.Second)
		if f.Quality != w.q || !strings.Contains(f.Cause, w.words) {
			t.Errorf("%v: %+v, want %s because of %q", err, f, w.q, w.words)
		}
	}
}

type timeoutError struct{}

func (*timeoutError) Error() string   { return "i/o timeout" }
func (*timeoutError) Timeout() bool   { return true }
func (*timeoutError) Temporary() bool { return true }

func TestBackOff(t *testing.T) {
	u := &unit{}
	var waits []string
	now := time.Duration(0)
	for range 6 {
		u.failed(now, time.Second)
		waits = append(waits, (u.due - now).String())
		now = u.due
	}
	if got := strings.Join(waits, " "); got != "1s 2s 4s 8s 10s 10s" {
		t.Errorf("waits %s", got)
	}
	u.answered(now, time.Second)
	if u.due != now+time.Second || u.wait != time.Second {
		t.Errorf("after an answer: due in %s", u.due-now)
	}
	u.answered(now+5*time.Second, time.Second)
	if u.due != now+6*time.Second {
		t.Errorf("after a late answer: due at %s, want %s", u.due, now+6*time.Second)
	}
}
