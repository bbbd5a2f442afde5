//go:build integration

package integration

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// mostExposure is the highest rating that the unit may have; 0 to 10, lower is
// better. A figure of the project's own.
const mostExposure = 1.5

// systemd's own rating of the unit, with the devices that sensors need.
func TestUnitIsHardenedAndKeepsItsDevices(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "systemd-analyze", "security", "--offline=true", "--no-pager", "../weepd.service").CombinedOutput()
	if err != nil {
		t.Fatalf("systemd-analyze: %v\n%s\nrun deploy/test, which installs what is missing", err, out)
	}
	found := regexp.MustCompile(`Overall exposure level for weepd\.service: ([0-9.]+)`).FindSubmatch(out)
	if found == nil {
		t.Fatalf("no exposure in\n%s", out)
	}
	exposure, err := strconv.ParseFloat(string(found[1]), 64)
	if err != nil || exposure > mostExposure {
		t.Errorf("exposure %s, want at most %g (%v)\n%s", found[1], mostExposure, err, out)
	}
	for _, device := range []string{"char-gpiochip:rw", "char-i2c:rw", "char-spi:rw", "char-ttyS:rw", "char-ttyAMA:rw", "char-ttyUSB:rw", "char-ttyACM:rw"} {
		if !strings.Contains(string(out), device) {
			t.Errorf("no access to %s", device)
		}
	}
}

// systemd understands every line of the unit.
func TestUnitIsUnderstood(t *testing.T) {
	text, err := os.ReadFile("../weepd.service")
	if err != nil {
		t.Fatal(err)
	}
	unit := write(t, filepath.Join(t.TempDir(), "weepd.service"), strings.ReplaceAll(string(text), "/usr/bin/weepd", weepd))
	// The man page comes with the package.
	out, err := exec.CommandContext(t.Context(), "systemd-analyze", "verify", "--man=no", "--recursive-errors=no", unit).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
}

// The real agent at a service manager's socket: ready, alive, reloading,
// stopping, and nothing while it is stopped in its tracks.
func TestAgentTellsTheServiceManager(t *testing.T) {
	dir := t.TempDir()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: filepath.Join(dir, "notify"), Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	t.Setenv("NOTIFY_SOCKET", filepath.Join(dir, "notify"))
	t.Setenv("WATCHDOG_USEC", "2000000")
	configuration, _ := station(t, dir, "")
	agent := launch(t, weepd, "run", "--config", configuration)

	next := func(within time.Duration) string {
		t.Helper()
		if err := conn.SetReadDeadline(time.Now().Add(within)); err != nil {
			t.Fatal(err)
		}
		text := make([]byte, 4096)
		n, err := conn.Read(text)
		if err != nil {
			return ""
		}
		return string(text[:n])
	}
	if got := next(patience); !strings.HasPrefix(got, "READY=1\nSTATUS=station quarry, glands 2, ") {
		t.Fatalf("first word %q", got)
	}
	for range 3 {
		if got := next(patience); !strings.HasPrefix(got, "WATCHDOG=1\n") {
			t.Fatalf("then %q", got)
		}
	}
	agent.signal(t, syscall.SIGSTOP)
	for next(500*time.Millisecond) != "" { // what was on its way
	}
	if got := next(3 * time.Second); got != "" {
		t.Errorf("a stopped process said %q", got)
	}
	agent.signal(t, syscall.SIGCONT)
	if got := next(patience); !strings.HasPrefix(got, "WATCHDOG=1\n") {
		t.Errorf("after going on %q", got)
	}
	agent.signal(t, syscall.SIGTERM)
	last := ""
	for text := next(patience); text != ""; text = next(time.Second) {
		last = text
	}
	if !strings.HasPrefix(last, "STOPPING=1\n") {
		t.Errorf("last word %q", last)
	}
	if err := agent.wait(t, patience); err != nil {
		t.Errorf("after SIGTERM: %v", err)
	}
}
