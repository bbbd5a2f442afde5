package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// process is a program that the soak started, with its output in a file.
type process struct {
	name string
	cmd  *exec.Cmd
	log  string
	done chan struct{}
	err  error // after done
}

// start runs a program that dies with the soak at the latest.
func start(log, program string, args ...string) (*process, error) {
	path, err := exec.LookPath(program)
	if err != nil {
		path = "/usr/sbin/" + program // where Debian keeps daemons
	}
	out, err := os.OpenFile(log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	defer func() { _ = out.Close() }() // the program has its own
	p := &process{name: filepath.Base(program), log: log, done: make(chan struct{})}
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

func (p *process) running() bool {
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

// end sends a signal and waits for the program's end.
func (p *process) end(s syscall.Signal) error {
	if !p.running() {
		return nil
	}
	_ = p.cmd.Process.Signal(s) // it may be ending
	select {
	case <-p.done:
		return nil
	case <-time.After(patience):
		_ = p.cmd.Process.Kill()
		<-p.done
		return fmt.Errorf("%s did not end within %s after %s; see %s", p.name, patience, s, p.log)
	}
}

// kill is for a program that must not be left.
func (p *process) kill() {
	if p.running() {
		_ = p.cmd.Process.Kill()
		<-p.done
	}
}

func readAll(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	return string(text)
}

// tail gives the last lines of a log.
func tail(path string, most int) string {
	lines := strings.Split(strings.TrimRight(readAll(path), "\n"), "\n")
	return strings.Join(lines[max(0, len(lines)-most):], "\n")
}

// until waits for something to hold.
func until(what string, limit time.Duration, holds func() bool) error {
	for end := time.Now().Add(limit); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if holds() {
			return nil
		}
	}
	return fmt.Errorf("%s: not within %s", what, limit)
}
