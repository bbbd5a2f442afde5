package agent

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"weepd/rules/reading"
	"weepd/sensors"
)

// muteServer takes connections and never says a word.
func muteServer(t *testing.T) (address string) {
	t.Helper()
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		var held []net.Conn
		for {
			c, err := l.Accept()
			if err != nil {
				break
			}
			held = append(held, c)
		}
		for _, c := range held {
			_ = c.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return l.Addr().String()
}

// hangingFile is one whose reader waits in the kernel until the test ends.
func hangingFile(t *testing.T, path string) {
	t.Helper()
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		for range 100 { // a reader may be between two attempts
			w, err := os.OpenFile(path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
			if err == nil {
				_ = w.Close()
			}
			time.Sleep(time.Millisecond)
		}
	})
}

// site is an agent on files, beside sensors that hang, are absent or talk
// nonsense.
type site struct {
	dir   string
	agent *Agent
	stop  func() error
}

func startSite(t *testing.T) *site {
	t.Helper()
	s := &site{dir: t.TempDir()}
	hangingFile(t, filepath.Join(s.dir, "hangs"))
	hangingFile(t, filepath.Join(s.dir, "pulses-hang"))
	s.write(t, "count", 0)
	s.write(t, "nonsense", "warm")
	s.write(t, "temp", 41.5)
	cfg := load(t, s.dir, fmt.Sprintf(`station: quarry
modbus: [{id: mute, url: "tcp://%s", every: 100ms, timeout: 100ms}]
glands:
  - id: good
    sensors:
      drip: {source: counter, path: count, every: 100ms}
      temp: {source: file, path: temp, every: 100ms}
  - id: bad
    sensors:
      drip: {source: gpio, pin: NO_SUCH_LINE}
      temp: {source: file, path: hangs, every: 100ms}
      ref: {source: rtd, bus: "99.9"}
      run: {source: speed, counter: pulses-hang, window: 500ms}
  - id: worse
    sensors:
      drip: {source: modbus, connection: mute, table: holding, address: 0, number: u16}
      temp: {source: file, path: plug, every: 100ms}
      ref: {source: file, path: nonsense, every: 100ms}
      run: {source: modbus, connection: mute, table: coil, address: 0}
`, muteServer(t)))
	clock := NewClock(nil)
	log := slog.New(slog.DiscardHandler)
	feeds, err := Feeds(cfg, clock, log)
	if err != nil {
		t.Fatal(err)
	}
	s.agent, err = New(Options{
		Station: cfg.Station, Glands: Glands(cfg), Feeds: feeds, Alarms: AlarmSettingsOf(cfg),
		Journal: NewMemoryJournal(100, false), Clock: clock, Log: log,
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- RunAll(ctx, log, s.agent.Services()...) }()
	s.stop = func() error { cancel(); return <-done }
	return s
}

func (s *site) write(t *testing.T, name string, content any) {
	t.Helper()
	path := filepath.Join(s.dir, name)
	if err := os.WriteFile(path+".new", fmt.Append(nil, content), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
}

// until waits for a snapshot that fits.
func (s *site) until(t *testing.T, what string, holds func(*Snapshot) bool) {
	t.Helper()
	for until := time.Now().Add(time.Minute); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		if holds(s.agent.Board().Latest()) {
			return
		}
	}
	t.Errorf("%s: not within a minute; %+v", what, s.agent.Board().Latest().Glands)
}

func TestBadSensorsStopNeitherTheOthersNorTheLoop(t *testing.T) {
	s := startSite(t)
	s.until(t, "all bad sensors are told", func(now *Snapshot) bool {
		for _, g := range now.Glands[1:] {
			for _, p := range g.Points {
				if !p.Seen || p.Good() {
					return false
				}
			}
		}
		return true
	})
	for round := range 3 { // while nothing of that has changed
		before := s.agent.Board().Latest().Glands[0].State.Drops
		s.write(t, "count", 10*(round+1))
		s.until(t, "drops beside bad sensors", func(now *Snapshot) bool { return now.Glands[0].State.Drops == before+10 })
		if !s.agent.Alive() {
			t.Error("the loop stands still")
		}
	}
	good := func(now *Snapshot) bool { return now.Glands[2].Points[reading.Temp].Good() }
	for range 2 {
		s.write(t, "plug", 55)
		s.until(t, "the sensor that was plugged in", good)
		if err := os.Remove(filepath.Join(s.dir, "plug")); err != nil {
			t.Fatal(err)
		}
		s.until(t, "the sensor that was unplugged", func(now *Snapshot) bool { return !good(now) })
	}
	if g := s.agent.Board().Latest().Glands[0]; !g.Points[reading.Drip].Good() || !g.Points[reading.Temp].Good() || s.agent.QueueDropped() > 0 {
		t.Errorf("good sensors %+v, dropped %d", g.Points, s.agent.QueueDropped())
	}
	began := time.Now()
	if err := s.stop(); err != nil || time.Since(began) > StopWithin {
		t.Errorf("stopped after %s: %v", time.Since(began), err)
	}
}

// A source that hangs while it opens is given up after a bound and not asked
// again in parallel; when it comes back it is taken.
func TestHangingOpenIsGivenUpAndComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		var asked atomic.Int32
		b := start(t, nil, nil, func(c *Clock) []Feed {
			hangs := Feed{Name: "hangs", Points: []reading.Point{tempA}, Open: func() (sensors.Source, error) {
				if asked.Add(1) == 1 {
					<-free
					return nil, io.ErrUnexpectedEOF // old by now
				}
				return scripted{[]reading.Point{tempA}, func(ctx context.Context, emit func(reading.Reading)) error {
					emit(reading.Reading{At: c.Steady(), Point: tempA, Value: 40})
					<-ctx.Done()
					return nil
				}}, nil
			}}
			return append(drips(c), hangs)
		})
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		if asked.Load() != 1 || b.core.noAnswers(tempA) < 30 || len(b.core.values(dripA)) < 590 {
			t.Errorf("asked %d times, told %d times, %d drops of the other", asked.Load(), b.core.noAnswers(tempA), len(b.core.values(dripA)))
		}
		close(free)
		time.Sleep(2 * time.Minute)
		synctest.Wait()
		if n := len(b.core.values(tempA)); n != 1 {
			t.Errorf("%d readings after it came back, want 1", n)
		}
		if err := b.stop(); err != nil {
			t.Error(err)
		}
	})
}
