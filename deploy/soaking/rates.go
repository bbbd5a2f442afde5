package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"weepd/deploy/rig"

	paho "github.com/eclipse/paho.mqtt.golang"
)

const (
	drainEvents = 10_000
	drainWindow = 100 // messages in flight, as the agent's
)

// drainLoad makes its events within seconds.
var drainLoad = load{glands: 32, span: drainEvents / 32 * loadChange, speed: 3000}

// measureDrain gives the rate at which a backlog is delivered over the rate
// at which paho alone sends the same payloads, pipelined with QoS 1. Both are
// measured at the same subscriber (QoS 0, so that it does not slow them).
func measureDrain(out io.Writer, dir, binary string) (ratio float64, err error) {
	dir = filepath.Join(dir, "drain")
	if err := makeDirs(dir); err != nil {
		return 0, err
	}
	b, err := startBroker(dir)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, b.stop()) }()
	agent, journal, err := backlog(dir, binary, b)
	if err != nil {
		return 0, err
	}
	defer func() { agent.process.Kill() }()
	rawBefore, err := rawRate(b, "before", journal)
	if err != nil {
		return 0, err
	}
	rate, err := drainRate(b, agent, len(journal))
	if err != nil {
		return 0, err
	}
	rawAfter, err := rawRate(b, "after", journal)
	if err != nil {
		return 0, err
	}
	raw := (rawBefore + rawAfter) / 2
	_, _ = fmt.Fprintf(out, "drain: %d events of about %d bytes: outbox %.0f/s; paho alone %.0f/s before and %.0f/s after\n",
		len(journal), len(journal[0].text), rate, rawBefore, rawAfter)
	return rate / raw, errors.Join(agent.stop(), agent.panicked())
}

// backlog fills the outbox while there is no broker, and stops the agent.
func backlog(dir, binary string, b *broker) (*weepd, []event, error) {
	glands, err := drainLoad.write(dir)
	if err != nil {
		return nil, nil, err
	}
	nowhere, err := rig.FreePort()
	if err != nil {
		return nil, nil, err
	}
	agent, err := newWeepd(binary, dir, "drain", mqttConfig(fmt.Sprintf("tcp://127.0.0.1:%d", nowhere))+glands)
	if err != nil {
		return nil, nil, err
	}
	if err := agent.start(); err != nil {
		return nil, nil, err
	}
	defer agent.process.Kill()
	err = rig.Until(fmt.Sprintf("a backlog of %d events", drainEvents*9/10), 2*patience, func() bool {
		n, err := agent.pending()
		return err == nil && n >= drainEvents*9/10
	})
	if err != nil {
		return nil, nil, err
	}
	if err := agent.stop(); err != nil {
		return nil, nil, err
	}
	quiet, err := drainLoad.quiet(dir)
	if err != nil {
		return nil, nil, err
	}
	// Once without a broker, to read what is in the journal.
	if err := agent.configure("drain", mqttConfig(fmt.Sprintf("tcp://127.0.0.1:%d", nowhere))+quiet); err != nil {
		return nil, nil, err
	}
	if err := agent.start(); err != nil {
		return nil, nil, err
	}
	journal, err := agent.events(0)
	if err != nil {
		return nil, nil, err
	}
	if err := agent.stop(); err != nil {
		return nil, nil, err
	}
	return agent, journal, agent.configure("drain", mqttConfig(b.url())+quiet)
}

func drainRate(b *broker, agent *weepd, events int) (float64, error) {
	sub, err := subscribe(b.url(), "", "weepd/drain/event", 0, nil)
	if err != nil {
		return 0, err
	}
	if err := agent.start(); err != nil {
		return 0, err
	}
	if err := rig.Until("the backlog arrives", deliverMost, func() bool { return sub.count() >= events }); err != nil {
		return 0, fmt.Errorf("%w: %d of %d", err, sub.count(), events)
	}
	if _, err := sub.end(); err != nil {
		return 0, err
	}
	return perSecond(sub.times[:events]), nil
}

// rawRate sends the payloads with paho alone.
func rawRate(b *broker, topic string, journal []event) (float64, error) {
	sub, err := subscribe(b.url(), "", "raw/"+topic, 0, nil)
	if err != nil {
		return 0, err
	}
	client := paho.NewClient(clientOptions(b.url(), "").SetOrderMatters(false).SetAutoReconnect(false))
	if err := connect(client); err != nil {
		return 0, err
	}
	defer client.Disconnect(100)
	var flying []paho.Token
	for _, e := range journal {
		if len(flying) == drainWindow {
			if err := landed(flying[0]); err != nil {
				return 0, err
			}
			flying = flying[1:]
		}
		flying = append(flying, client.Publish("raw/"+topic, 1, false, e.text))
	}
	for _, token := range flying {
		if err := landed(token); err != nil {
			return 0, err
		}
	}
	if err := rig.Until("what paho sent arrives", patience, func() bool { return sub.count() >= len(journal) }); err != nil {
		return 0, fmt.Errorf("%w: %d of %d", err, sub.count(), len(journal))
	}
	if _, err := sub.end(); err != nil {
		return 0, err
	}
	return perSecond(sub.times), nil
}

func landed(t paho.Token) error {
	if !t.WaitTimeout(patience) {
		return errors.New("publish: no acknowledgement")
	}
	return t.Error()
}

func perSecond(times []time.Time) float64 {
	return float64(len(times)-1) / times[len(times)-1].Sub(times[0]).Seconds()
}

// delays are measured times by kind.
type delays []time.Duration

func (d delays) at(share float64) time.Duration {
	sorted := slices.Sorted(slices.Values(d))
	return sorted[min(int(share*float64(len(sorted))), len(sorted)-1)]
}

// over is the ratio to other delays at the same share.
func (d delays) over(other delays, share float64) float64 {
	return float64(d.at(share)) / float64(other.at(share))
}

// clockwork waits for the arrival of what was sent.
type clockwork struct {
	mu     sync.Mutex
	wanted string
	came   chan time.Time
}

func newClockwork() *clockwork { return &clockwork{came: make(chan time.Time, 1)} }

func (c *clockwork) want(key string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wanted = key
}

func (c *clockwork) heard(key string, at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if key == c.wanted {
		c.wanted = ""
		c.came <- at
	}
}

func (c *clockwork) wait() (time.Time, error) {
	select {
	case at := <-c.came:
		return at, nil
	case <-time.After(patience):
		return time.Time{}, errors.New("no message came")
	}
}
