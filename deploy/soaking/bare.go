package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// barePublisher is paho alone in a process of its own, as the agent is in one:
// a subscriber that shares the publisher's process has been woken already.
type barePublisher struct {
	cmd     *exec.Cmd
	orders  io.WriteCloser
	answers *bufio.Reader
}

// bareWord as the first argument makes this program a bare publisher.
const bareWord = "publish-bare"

// publishBare publishes what standard input orders, one line each: a wait in
// nanoseconds, a topic and a payload. It answers with when it did.
func publishBare(broker string, in io.Reader, out io.Writer) error {
	client := paho.NewClient(clientOptions(broker, "").SetOrderMatters(false))
	if err := connect(client); err != nil {
		return err
	}
	defer client.Disconnect(100)
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		wait, rest, _ := strings.Cut(lines.Text(), " ")
		topic, payload, _ := strings.Cut(rest, " ")
		ns, err := strconv.ParseInt(wait, 10, 64)
		if err != nil {
			return err
		}
		time.Sleep(time.Duration(ns)) // as idle as the agent is before a drop
		began := time.Now()
		token := client.Publish(topic, 1, true, payload) // retained, as an alarm is
		if err := landed(token); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(out, began.UnixNano()); err != nil {
			return err
		}
	}
	return lines.Err()
}

func startBare(broker string) (*barePublisher, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, err
	}
	p := &barePublisher{cmd: exec.CommandContext(context.Background(), program, bareWord, broker)}
	p.cmd.Stderr = os.Stderr
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	p.answers = bufio.NewReader(out)
	if p.orders, err = p.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	return p, p.cmd.Start()
}

func (p *barePublisher) order(wait time.Duration, topic, payload string) error {
	_, err := fmt.Fprintf(p.orders, "%d %s %s\n", wait.Nanoseconds(), topic, payload)
	return err
}

// began gives when the last order was carried out.
func (p *barePublisher) began() (time.Time, error) {
	line, err := p.answers.ReadString('\n')
	if err != nil {
		return time.Time{}, fmt.Errorf("the bare publisher: %w", err)
	}
	ns, err := strconv.ParseInt(strings.TrimSpace(line), 10, 64)
	return time.Unix(0, ns), err
}

func (p *barePublisher) stop() error { return errors.Join(p.orders.Close(), p.cmd.Wait()) }
