// Package rig starts and stops the programs that the checks under deploy need,
// on free ports of this machine.
package rig

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// Patience bounds a wait for a program to start, answer or end.
const Patience = 30 * time.Second

// Process is a program with its output in a file.
type Process struct {
	name string
	log  string
	cmd  *exec.Cmd
	done chan struct{}
	err  error // after done
}

// Start runs a program that dies with its starter at the latest.
func Start(log, program string, args ...string) (*Process, error) {
	path, err := exec.LookPath(program)
	if err != nil {
		path = "/usr/sbin/" + program // where Debian keeps daemons
	}
	out, err := os.OpenFile(log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	defer func() { _ = out.Close() }() // the program has its own
	p := &Process{name: filepath.Base(program), log: log, done: make(chan struct{})}
	p.cmd = exec.CommandContext(context.Background(), path, args...)
	p.cmd.Stdout, p.cmd.Stderr = out, out
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := p.cmd.Start(); err != nil {
		return nil, fmt.Errorf("start %s: %w; deploy/test installs what is missing", program, err)
	}
	go func() {
		p.err = p.cmd.Wait()
		close(p.done)
	}()
	return p, nil
}

// Running reports whether the program has not ended.
func (p *Process) Running() bool {
	if p == nil {
		return false
	}
	select {
	case <-p.done:
		return false
	default:
		return true
	}
}

// Err is how it ended, once it has.
func (p *Process) Err() error {
	<-p.done
	return p.err
}

// Pid is the program's process id.
func (p *Process) Pid() int { return p.cmd.Process.Pid }

// End asks the program to end and waits for it.
func (p *Process) End() error {
	if !p.Running() {
		return nil
	}
	_ = p.cmd.Process.Signal(syscall.SIGTERM) // it may be ending
	select {
	case <-p.done:
		return nil
	case <-time.After(Patience):
		p.Kill()
		return fmt.Errorf("%s did not end within %s; see %s", p.name, Patience, p.log)
	}
}

// Kill is for a program that must not be left.
func (p *Process) Kill() {
	if p.Running() {
		_ = p.cmd.Process.Kill()
		<-p.done
	}
}

// Await waits for a program to be ready; its log tells why it is not.
func (p *Process) Await(what string, ready func() bool) error {
	err := Until(what, Patience, func() bool { return !p.Running() || ready() })
	if err == nil && !p.Running() {
		err = fmt.Errorf("%s ended by itself", p.name)
	}
	if err != nil {
		return fmt.Errorf("%w; its log ends:\n%s", err, Tail(p.log, 15))
	}
	return nil
}

// Tail gives the last lines of a log.
func Tail(path string, most int) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	return strings.Join(lines[max(0, len(lines)-most):], "\n")
}

// Until waits for something to hold.
func Until(what string, limit time.Duration, holds func() bool) error {
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if holds() {
			return nil
		}
	}
	return fmt.Errorf("%s: not within %s", what, limit)
}

// FreePort gives a port of this machine that nobody uses.
func FreePort() (int, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	return l.Addr().(*net.TCPAddr).Port, l.Close()
}

// Listens reports whether somebody listens at a port of this machine.
func Listens(port int) bool {
	d := net.Dialer{Timeout: time.Second}
	c, err := d.DialContext(context.Background(), "tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return false
	}
	return c.Close() == nil
}

// Build makes a binary as it is shipped.
func Build(pkg, binary string) error {
	cmd := exec.CommandContext(context.Background(), "go", "build", "-trimpath", "-ldflags", "-s -w", "-o", binary, pkg)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("build %s: %w\n%s", pkg, err, out)
	}
	return nil
}
