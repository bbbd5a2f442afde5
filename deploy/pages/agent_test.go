//go:build integration

package pages

import (
	"bytes"
	"context"
	"encoding/json"
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

	"golang.org/x/crypto/bcrypt"

	"weepd/agent"
)

// weepd is the binary under test, built once.
var weepd string

func TestMain(m *testing.M) { os.Exit(buildAndRun(m)) }

func buildAndRun(m *testing.M) int {
	dir, err := os.MkdirTemp("", "weepd-pages-")
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

// process is a running weepd whose output is kept.
type process struct {
	cmd  *exec.Cmd
	mu   sync.Mutex
	text bytes.Buffer
	done chan struct{}
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

func launch(t *testing.T, args ...string) *process {
	t.Helper()
	p := &process{cmd: exec.CommandContext(context.Background(), weepd, args...), done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p, p
	p.cmd.Env = append(os.Environ(), "TZ=UTC")
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		_ = p.cmd.Wait() // it may be killed
		close(p.done)
	}()
	t.Cleanup(func() {
		p.kill()
		if t.Failed() {
			t.Logf("output of weepd:\n%s", p.output())
		}
	})
	return p
}

func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
}

func (p *process) signal(t *testing.T, s syscall.Signal) {
	t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		t.Fatal(err)
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

// demo starts the demonstration.
func demo(t *testing.T) (base, broker string) {
	t.Helper()
	base, broker = fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	launch(t, "demo", "--listen", base, "--mqtt", broker)
	base = "http://" + base
	healthy(t, base)
	return base, broker
}

func healthy(t *testing.T, base string) {
	t.Helper()
	eventually(t, "weepd serves", func() bool {
		status, _ := get(t, base+"/healthz")
		return status == http.StatusOK
	})
}

func get(t *testing.T, url string) (status int, body string) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
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

func events(t *testing.T, base string) (list []agent.Event) {
	t.Helper()
	_, body := get(t, base+"/api/v1/events")
	if err := json.Unmarshal([]byte(body), &list); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	return list
}

// Who may command in the tests.
const (
	person = "weaver"
	secret = "look-at-the-gland"
)

// station writes the configuration of a station of simulated glands, with a
// user; leaking ones weep far more than they may.
func station(t *testing.T, names []string, leaking int) (configuration, base string) {
	t.Helper()
	dir := t.TempDir()
	hash, err := bcrypt.GenerateFromPassword([]byte(secret), bcrypt.DefaultCost)
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "users"), person+":"+string(hash)+"\n")
	var text strings.Builder
	text.WriteString("station: quarry\nglands:\n")
	for i, name := range names {
		dpm := 40
		if i < leaking {
			dpm = 150
		}
		fmt.Fprintf(&text, "  - id: g%03d\n    name: %s\n    sensors:\n", i, quoted(name))
		fmt.Fprintf(&text, "      drip: {source: simulated, dpm: %d, seed: %d}\n", dpm, i+1)
		text.WriteString("      temp: {source: simulated}\n      ref: {source: simulated}\n      run: {source: simulated}\n")
	}
	port := freePort(t)
	fmt.Fprintf(&text, "http: {listen: \"127.0.0.1:%d\", users: users}\nlog: {level: error}\n", port)
	return write(t, filepath.Join(dir, "weepd.yaml"), text.String()), fmt.Sprintf("http://127.0.0.1:%d", port)
}

func numbered(n int) (names []string) {
	for i := range n {
		names = append(names, fmt.Sprintf("Pump %d, %s end", i/2+1, []string{"drive", "non-drive"}[i%2]))
	}
	return names
}

func write(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
