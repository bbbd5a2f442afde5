package systemd

import (
	"context"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// manager is systemd's end of the notify socket.
type manager struct {
	t    *testing.T
	conn *net.UnixConn
}

func newManager(t *testing.T, watchdogUsec string) manager {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", watchdogUsec)
	t.Setenv("WATCHDOG_PID", "")
	return manager{t, conn}
}

// hears gives the next message, or "" if none comes in time.
func (m manager) hears(within time.Duration) string {
	m.t.Helper()
	if err := m.conn.SetReadDeadline(time.Now().Add(within)); err != nil {
		m.t.Fatal(err)
	}
	text := make([]byte, 4096)
	n, err := m.conn.Read(text)
	if err != nil {
		return ""
	}
	return string(text[:n])
}

func (m manager) wants(text string) {
	m.t.Helper()
	if got := m.hears(30 * time.Second); got != text {
		m.t.Fatalf("systemd was told %q, want %q", got, text)
	}
}

func (m manager) silent(why string) {
	m.t.Helper()
	if got := m.hears(50 * time.Millisecond); got != "" {
		m.t.Fatalf("%s: systemd was told %q, want nothing", why, got)
	}
}

func newNotifier(t *testing.T) *Notifier {
	t.Helper()
	n, err := New(slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// run runs the notifier until the test ends.
func run(t *testing.T, n *Notifier, opened <-chan struct{}) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- n.Run(ctx, opened, func() string { return "fine" }) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func TestReadyOnlyWhenSourcesAreTriedAndTheLoopTurns(t *testing.T) {
	m := newManager(t, "20000")
	n := newNotifier(t)
	opened := make(chan struct{})
	run(t, n, opened)
	n.Turned()
	m.silent("before the sources are open")
	close(opened)
	m.wants("READY=1\nSTATUS=fine")
}

func TestReadyWaitsForTheLoop(t *testing.T) {
	m := newManager(t, "")
	n := newNotifier(t)
	opened := make(chan struct{})
	close(opened)
	run(t, n, opened)
	m.silent("before the loop turns")
	n.Turned()
	m.wants("READY=1\nSTATUS=fine")
	n.Turned()
	m.silent("no watchdog is asked for")
}

// A loop that does not turn feeds nothing: no timer does it in its stead.
func TestOnlyTurnsOfTheLoopFeedTheWatchdog(t *testing.T) {
	m := newManager(t, "20000") // 20 ms: fed each 5 ms at most
	n := newNotifier(t)
	opened := make(chan struct{})
	close(opened)
	run(t, n, opened)
	n.Turned()
	m.wants("READY=1\nSTATUS=fine")
	for range 3 {
		time.Sleep(10 * time.Millisecond)
		n.Turned()
		m.wants("WATCHDOG=1\nSTATUS=fine")
	}
	for range 3 {
		m.silent("while the loop hangs")
	}
	n.Turned()
	m.wants("WATCHDOG=1\nSTATUS=fine")
}

func TestTurnsInQuickSuccessionFeedOnce(t *testing.T) {
	m := newManager(t, "3600000000")
	n := newNotifier(t)
	opened := make(chan struct{})
	close(opened)
	run(t, n, opened)
	for range 1000 {
		n.Turned()
	}
	m.wants("READY=1\nSTATUS=fine")
	m.silent("one feed is enough for a while")
}

func TestReloadAndStop(t *testing.T) {
	m := newManager(t, "")
	n := newNotifier(t)
	n.Reloading()
	got := m.hears(30 * time.Second)
	if !strings.HasPrefix(got, "RELOADING=1\nMONOTONIC_USEC=") || strings.HasSuffix(got, "=") {
		t.Errorf("systemd was told %q", got)
	}
	n.Reloaded()
	m.wants("READY=1")
	n.Stopping()
	m.wants("STOPPING=1\nSTATUS=stopping")
	n.Reloaded()
	m.silent("after the stop")
}

func TestWithoutSystemdNothingIsSaid(t *testing.T) {
	t.Setenv("NOTIFY_SOCKET", "")
	t.Setenv("WATCHDOG_USEC", "nonsense")
	n := newNotifier(t)
	opened := make(chan struct{})
	close(opened)
	run(t, n, opened)
	n.Turned()
	n.Stopping()
}

func TestWatchdogThatCannotBeRead(t *testing.T) {
	newManager(t, "soon")
	if _, err := New(slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), "WatchdogSec=") {
		t.Errorf("error %v", err)
	}
}

// Nobody reads the socket any more: the loop goes on, the log is told once.
func TestLostSocketStopsNobody(t *testing.T) {
	m := newManager(t, "1000")
	var log strings.Builder
	n, err := New(slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	_ = m.conn.Close()
	n.Reloaded()
	n.Reloaded()
	if c := strings.Count(log.String(), "cannot speak to systemd"); c != 1 {
		t.Errorf("logged %d times, want once:\n%s", c, log.String())
	}
}
