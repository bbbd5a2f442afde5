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

	paho "github.com/eclipse/paho.mqtt.golang"
)

// One alarm a gland, and a station of a usual size, so several stations one
// after another.
const (
	latencyGlands   = 20
	latencyStations = 10
)

// measureLatency gives the median time from drops at the source to the alarm at
// a subscriber (its retained topic, which is sent at once), over that of a bare
// paho publish with QoS 1 to the same subscriber, taken in turn. The event of the
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
	s.bare = paho.NewClient(clientOptions(b.url(), "").SetOrderMatters(false))
	if err := connect(s.bare); err != nil {
		return 0, err
	}
	defer s.bare.Disconnect(100)
	for i := range latencyStations {
		if err := s.station(filepath.Join(dir, fmt.Sprint(i)), binary, b); err != nil {
			return 0, err
		}
	}
	ratio = float64(s.agent.at(.5)) / float64(s.paho.at(.5))
	_, _ = fmt.Fprintf(out, "latency, %d samples each, median and 99th percentile: from drops at the source (row in a pipe) to the alarm at a subscriber %s, %s, to its event, stored first, %s, %s; bare paho publish %s, %s; ratios of the alarm %.1f, %.1f, of the event %.1f, %.1f\n",
		len(s.agent), s.agent.at(.5), s.agent.at(.99), s.event.at(.5), s.event.at(.99), s.paho.at(.5), s.paho.at(.99),
		ratio, float64(s.agent.at(.99))/float64(s.paho.at(.99)),
		float64(s.event.at(.5))/float64(s.paho.at(.5)), float64(s.event.at(.99))/float64(s.paho.at(.99)))
	return ratio, nil
}

// station takes the samples of one station.
func (s *sampler) station(dir, binary string, b *broker) error {
	agent, err := newWeepd(binary, dir, "latency", mqttConfig(b.url())+dropGlands())
	if err != nil {
		return err
	}
	defer func() { agent.process.kill() }()
	if s.pipe, err = playInto(agent); err != nil {
		return err
	}
	if err := s.all(); err != nil {
		return fmt.Errorf("%w; the agent's log ends:\n%s", err, tail(agent.log(), 5))
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
	return second.file, until("weepd runs", patience, agent.healthy)
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
	err := until("weepd reads "+p.path, patience, func() bool {
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
	dice        *rand.Rand
	clock       *clockwork // of alarms and bare messages
	stored      *clockwork // of events
	bare        paho.Client
	pipe        *os.File
	agent, paho delays
	event       delays
}

func (s *sampler) all() error {
	time.Sleep(time.Second) // until it plays and is connected
	for i := range latencyGlands {
		gland := glandID(i)
		time.Sleep(40*time.Millisecond + time.Duration(s.dice.Int64N(int64(20*time.Millisecond))))
		s.clock.want(gland + " leaking")
		s.stored.want(gland + " leaking")
		began := time.Now()
		if _, err := s.pipe.WriteString(dropRow(time.Now(), gland, 32)); err != nil {
			return err
		}
		took, err := s.clock.wait(began)
		if err != nil {
			return fmt.Errorf("sample %d: %w", i, err)
		}
		s.agent = append(s.agent, took)
		if took, err = s.stored.wait(began); err != nil {
			return fmt.Errorf("event of sample %d: %w", i, err)
		}
		s.event = append(s.event, took)
		// As long as the agent's.
		payload := fmt.Sprintf(`{"seq":%d,"gland":"bare","condition":"%d","state":"active","message":%q}`, len(s.paho), i, strings.Repeat("x", 200))
		time.Sleep(time.Duration(s.dice.Int64N(int64(20 * time.Millisecond))))
		s.clock.want(fmt.Sprintf("bare %d", i))
		began = time.Now()
		s.bare.Publish("weepd/latency/alarm/bare/bare", 1, false, payload)
		if took, err = s.clock.wait(began); err != nil {
			return fmt.Errorf("bare sample %d: %w", i, err)
		}
		s.paho = append(s.paho, took)
	}
	return nil
}
