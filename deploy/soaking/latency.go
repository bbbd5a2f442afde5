package main

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"weepd/deploy/rig"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// One alarm a gland, and a station of a usual size, so several stations one
// after another.
const (
	latencyGlands   = 20
	latencyStations = 10
)

// runLatency measures it alone; its ratio is the last line.
func runLatency(out io.Writer, dir, binary string, seed uint64) error {
	ratio, err := measureLatency(out, dir, binary, rand.New(rand.NewPCG(seed, 1)))
	if err != nil {
		return err
	}
	_, _ = fmt.Fprintf(out, "{\"latency_ratio\":%.2f}\n", ratio)
	if ratio > latencyMost {
		return errMissed
	}
	return nil
}

// measureLatency gives the median time from drops at the source to the alarm at
// a subscriber (its retained topic, which is sent at once), over that of a bare
// paho publish, retained and with QoS 1 too, from a process of its own to the same
// subscriber, taken in turn and after as long a rest. The event of the
// same alarm, which is sent when it is stored, is measured and told beside it. The source is a recording played in real
// time out of a pipe, into which a row is written the moment the drops fall:
// 32 at once, which raise `leaking`.
func measureLatency(out io.Writer, dir, binary string, dice *rand.Rand) (ratio float64, err error) {
	dir = filepath.Join(dir, "latency")
	if err := makeDirs(dir); err != nil {
		return 0, err
	}
	b, err := startBroker(dir)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, b.stop()) }()
	s := sampler{dice: dice, clock: newClockwork(), stored: newClockwork()}
	sub, err := subscribe(b.url(), "", "weepd/latency/alarm/+/+", 1, func(e event, at time.Time) {
		if e.state == "active" {
			s.clock.heard(e.gland+" "+e.condition, at)
		}
	})
	if err != nil {
		return 0, err
	}
	defer sub.client.Disconnect(100)
	events, err := subscribe(b.url(), "", "weepd/latency/event", 1, func(e event, at time.Time) {
		s.stored.heard(e.gland+" "+e.condition, at)
	})
	if err != nil {
		return 0, err
	}
	defer events.client.Disconnect(100)
	if s.own, err = startBare(b.url()); err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, s.own.stop()) }()
	s.here = paho.NewClient(clientOptions(b.url(), "").SetOrderMatters(false))
	if err := connect(s.here); err != nil {
		return 0, err
	}
	defer s.here.Disconnect(100)
	for i := range latencyStations {
		if err := s.station(filepath.Join(dir, fmt.Sprint(i)), binary, b); err != nil {
			return 0, err
		}
	}
	ratio = s.agent.over(s.paho, .5)
	_, _ = fmt.Fprintf(out, "latency, %d samples each, median and 99th percentile, from a process of its own to a subscriber in another:\n", len(s.agent))
	for _, row := range []struct {
		what string
		took delays
	}{
		{"drops at the source (row in a pipe) to the alarm", s.agent},
		{"drops at the source to the alarm's event, which is stored first", s.event},
		{"bare paho publish", s.paho},
		{"bare paho publish, subscriber in the publisher's process", s.pahoHere},
	} {
		_, _ = fmt.Fprintf(out, "  %-64s %8s %8s, over the bare publish %.2f %.2f\n", row.what, row.took.at(.5).Round(time.Microsecond), row.took.at(.99).Round(time.Microsecond), row.took.over(s.paho, .5), row.took.over(s.paho, .99))
	}
	return ratio, nil
}

// station takes the samples of one station.
func (s *sampler) station(dir, binary string, b *broker) error {
	agent, err := newWeepd(binary, dir, "latency", mqttConfig(b.url())+dropGlands())
	if err != nil {
		return err
	}
	defer func() { agent.process.Kill() }()
	if s.pipe, err = playInto(agent); err != nil {
		return err
	}
	if err := s.all(); err != nil {
		return fmt.Errorf("%w; the agent's log ends:\n%s", err, rig.Tail(agent.log(), 5))
	}
	// The pipe first: a recording that is being read holds the agent up.
	return errors.Join(s.pipe.Close(), agent.stop(), agent.panicked())
}

func dropGlands() string {
	var b strings.Builder
	b.WriteString("glands:\n")
	for i := range latencyGlands {
		fmt.Fprintf(&b, "  - {id: %s, timing: {on_delay: 0s, start_grace: 0s}, sensors: {drip: {source: recording, path: drops.csv}}}\n", glandID(i))
	}
	return b.String()
}

// playInto starts the agent with a pipe for a recording. It is read twice: for
// its points, then to be played, so the pipe is changed for a new one between.
func playInto(agent *weepd) (*os.File, error) {
	path := filepath.Join(agent.dir, "drops.csv")
	first, err := newPipe(path)
	if err != nil {
		return nil, err
	}
	if err := agent.launch(); err != nil {
		return nil, err
	}
	begin := "time,point,value\n" + rowsOfAll()
	if err := first.write(begin); err != nil {
		return nil, err
	}
	second, err := newPipe(path)
	if err != nil {
		return nil, err
	}
	if err := first.file.Close(); err != nil {
		return nil, err
	}
	if err := second.open(); err != nil {
		return nil, err
	}
	if _, err := second.file.WriteString("time,point,value\n" + rowsOfAll()); err != nil {
		return nil, err
	}
	return second.file, rig.Until("weepd runs", patience, agent.healthy)
}

// rowsOfAll begins the recording, dated ahead: a recording in real time is played
// as late as its first row was read, and the rows that count must not wait.
func rowsOfAll() string {
	var b strings.Builder
	ahead := time.Now().Add(datedAhead)
	for i := range latencyGlands {
		b.WriteString(dropRow(ahead, glandID(i), 0))
	}
	return b.String()
}

// datedAhead is longer than it takes until the first row is read, and less than
// the time until the first sample.
const datedAhead = 500 * time.Millisecond

func dropRow(at time.Time, gland string, drops int) string {
	return fmt.Sprintf("%s,%s.drip,%d\n", at.UTC().Format(time.RFC3339Nano), gland, drops)
}

// namedPipe is one that a recording is written into.
type namedPipe struct {
	path string
	file *os.File
}

// newPipe puts a new pipe in the place of the old one.
func newPipe(path string) (*namedPipe, error) {
	if err := errors.Join(os.RemoveAll(path), syscall.Mkfifo(path, 0o600)); err != nil {
		return nil, err
	}
	return &namedPipe{path: path}, nil
}

// open waits for the reader.
func (p *namedPipe) open() error {
	err := rig.Until("weepd reads "+p.path, patience, func() bool {
		file, err := os.OpenFile(p.path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
		p.file = file
		return err == nil
	})
	return err
}

func (p *namedPipe) write(text string) error {
	if err := p.open(); err != nil {
		return err
	}
	_, err := p.file.WriteString(text)
	return err
}

type sampler struct {
	dice   *rand.Rand
	clock  *clockwork // of alarms and bare messages
	stored *clockwork // of events
	own    *barePublisher
	here   paho.Client // bare as well, in the subscriber's process
	pipe   *os.File

	agent, event   delays
	paho, pahoHere delays
}

func (s *sampler) all() error {
	time.Sleep(time.Second) // until it plays and is connected
	for i := range latencyGlands {
		for _, sample := range []func(int) error{s.sampleAgent, s.sampleBare, s.sampleHere} {
			if err := sample(i); err != nil {
				return fmt.Errorf("sample %d: %w", i, err)
			}
		}
	}
	return nil
}

// pause is long enough for everything to fall asleep.
func (s *sampler) pause() time.Duration {
	return 40*time.Millisecond + time.Duration(s.dice.Int64N(int64(20*time.Millisecond)))
}

func (s *sampler) sampleAgent(i int) error {
	gland := glandID(i)
	time.Sleep(s.pause())
	s.clock.want(gland + " leaking")
	s.stored.want(gland + " leaking")
	began := time.Now()
	if _, err := s.pipe.WriteString(dropRow(began, gland, 32)); err != nil {
		return err
	}
	at, err := s.clock.wait()
	if err != nil {
		return err
	}
	s.agent = append(s.agent, at.Sub(began))
	if at, err = s.stored.wait(); err != nil {
		return fmt.Errorf("event: %w", err)
	}
	s.event = append(s.event, at.Sub(began))
	return nil
}

const bareTopic = "weepd/latency/alarm/bare/bare"

// barePayload is as long as the agent's.
func barePayload(i int) string {
	return fmt.Sprintf(`{"seq":%d,"gland":"bare","condition":"%d","state":"active","message":%q}`, i, i, strings.Repeat("x", 200))
}

func (s *sampler) sampleBare(i int) error {
	s.clock.want(fmt.Sprintf("bare %d", i))
	if err := s.own.order(s.pause(), bareTopic, barePayload(i)); err != nil {
		return err
	}
	at, err := s.clock.wait()
	if err != nil {
		return err
	}
	began, err := s.own.began()
	if err != nil {
		return err
	}
	s.paho = append(s.paho, time.Duration(at.UnixNano()-began.UnixNano()))
	return nil
}

func (s *sampler) sampleHere(i int) error {
	time.Sleep(s.pause())
	s.clock.want(fmt.Sprintf("bare %d", i))
	began := time.Now()
	s.here.Publish(bareTopic, 1, true, barePayload(i))
	at, err := s.clock.wait()
	if err != nil {
		return err
	}
	s.pahoHere = append(s.pahoHere, at.Sub(began))
	return nil
}
