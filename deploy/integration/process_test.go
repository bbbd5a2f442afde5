//go:build integration

// Package integration runs the real weepd beside real components: Mosquitto,
// Prometheus and their tools, on free ports of the loopback address.
package integration

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience is generous: a loaded machine is no fault.
const patience = 60 * time.Second

// weepd is the binary under test, built once.
var weepd string

func TestMain(m *testing.M) { os.Exit(buildAndRun(m)) }

func buildAndRun(m *testing.M) int {
	dir, err := os.MkdirTemp("", "weepd-integration-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer func() { _ = os.RemoveAll(dir) }()
	weepd = filepath.Join(dir, "weepd")
	build := exec.CommandContext(context.Background(), "go", "build", "-o", weepd, "weepd/cmd/weepd")
	build.Stdout, build.Stderr = os.Stderr, os.Stderr
	if err := build.Run(); err != nil {
		fmt.Fprintln(os.Stderr, "build weepd:", err)
		return 1
	}
	return m.Run()
}

// process is a running program whose output is kept.
type process struct {
	name string
	cmd  *exec.Cmd
	mu   sync.Mutex
	text strings.Builder
	done chan struct{}
	err  error // after done
}

func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.Write(b)
}

func (p *process) output() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

// launch starts a program that ends with the test at the latest.
func launch(t *testing.T, program string, args ...string) *process {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		path = "/usr/sbin/" + program // where Debian keeps daemons
	}
	p := &process{name: filepath.Base(program), cmd: exec.CommandContext(context.Background(), path, args...), done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p, p
	if err := p.cmd.Start(); err != nil {
		t.Fatalf("%v; run deploy/test, which installs what is missing", err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.done)
	}()
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill()
		<-p.done
		if t.Failed() {
			t.Logf("output of %s:\n%s", p.name, p.output())
		}
	})
	return p
}

func (p *process) signal(t *testing.T, s syscall.Signal) {
	t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		t.Fatalf("%s: %v", p.name, err)
	}
}

// wait waits for the program's end.
func (p *process) wait(t *testing.T, limit time.Duration) error {
	t.Helper()
	select {
	case <-p.done:
		return p.err
	case <-time.After(limit):
		t.Fatalf("%s does not end within %s", p.name, limit)
		return nil
	}
}

func (p *process) ended() bool {
	select {
	case <-p.done:
		return true
	default:
		return false
	}
}

func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(50 * time.Millisecond) {
		if holds() {
			return
		}
	}
	t.Fatalf("%s: not within %s", what, patience)
}

func (p *process) saysEventually(t *testing.T, text string) {
	t.Helper()
	eventually(t, p.name+" says "+text, func() bool { return strings.Contains(p.output(), text) })
}

// freePort finds a port; the tests of this package run one after another.
func freePort(t *testing.T) int {
	t.Helper()
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port
}

func get(t *testing.T, url string) (status int, body string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, err.Error()
	}
	defer func() { _ = response.Body.Close() }()
	text, err := io.ReadAll(response.Body)
	if err != nil {
		return 0, err.Error()
	}
	return response.StatusCode, string(text)
}

func write(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
