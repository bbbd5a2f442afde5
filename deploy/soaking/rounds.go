package main

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"time"

	"weepd/deploy/rig"
)

// Bounds of the rounds.
const (
	patience    = 60 * time.Second
	deliverMost = 3 * time.Minute // for the backlog in the end; the agent's back-off is up to a minute
	upMost      = time.Second
	faultMost   = 500 * time.Millisecond
)

// rounds is one run of faults.
type rounds struct {
	dice   *rand.Rand
	out    io.Writer
	broker *broker
	link   *link
	agent  *weepd
	sub    *subscriber
	seen   *sight
	done   []string // commands of kind record that were answered with ok
	open   []string // sent without an answer yet: they are sent again
	next   int
	counts map[string]int
}

// soakLoad makes some 250 alarms a second for up to seven minutes of life.
var soakLoad = load{glands: 32, span: 30 * time.Hour, speed: 240}

func runRounds(out io.Writer, dir, binary string, seed uint64, n int) (v *verdict, err error) {
	r := &rounds{dice: rand.New(rand.NewPCG(seed, seed)), out: out, seen: newSight(), counts: make(map[string]int)}
	defer func() { err = errors.Join(err, r.clear()) }()
	if err := r.prepare(filepath.Join(dir, "rounds"), binary); err != nil {
		return nil, err
	}
	began := time.Now()
	for i := range n {
		if err := r.round(); err != nil {
			return nil, fmt.Errorf("round %d: %w", i+1, err)
		}
		if (i+1)%50 == 0 || i+1 == n {
			r.say("round %d of %d after %s: %d events delivered, faults %v", i+1, n, time.Since(began).Round(time.Second), r.sub.count(), r.counts)
		}
	}
	return r.finish()
}

func (r *rounds) say(format string, args ...any) { _, _ = fmt.Fprintf(r.out, format+"\n", args...) }

// connectTo starts the broker, the link and the subscriber of a station.
func (r *rounds) connectTo(dir, station string) (err error) {
	if r.broker, err = startBroker(dir); err != nil {
		return err
	}
	if r.link, err = newLink(fmt.Sprintf("127.0.0.1:%d", r.broker.port)); err != nil {
		return err
	}
	r.sub, err = subscribe(r.broker.url(), "soak-reader", "weepd/"+station+"/event", 1, nil)
	return err
}

func (r *rounds) prepare(dir, binary string) (err error) {
	if err := makeDirs(dir); err != nil {
		return err
	}
	if err := r.connectTo(dir, "soak"); err != nil {
		return err
	}
	glands, err := soakLoad.write(dir)
	if err != nil {
		return err
	}
	if r.agent, err = newWeepd(binary, dir, "soak", mqttConfig(r.link.url())+glands); err != nil {
		return err
	}
	return r.agent.start()
}

// round lets the agent work for a while and then does it some harm.
func (r *rounds) round() error {
	r.pause(upMost)
	if err := r.look(); err != nil {
		return err
	}
	r.act()
	harm := r.dice.IntN(20)
	switch {
	case harm < 10:
		return r.killAgent()
	case harm < 12:
		return r.killAgentWith(linkShut)
	case harm < 14:
		return r.killAgentWith(linkDeafDown)
	case harm < 15:
		return r.failLink(linkShut)
	case harm < 16:
		return r.failLink(linkDeafUp)
	case harm < 17:
		return r.failLink(linkDeafDown)
	case harm < 19:
		return r.stopBroker(false)
	default:
		return r.stopBroker(true)
	}
}

func (r *rounds) pause(most time.Duration) {
	time.Sleep(time.Duration(r.dice.Int64N(int64(most))))
}

// look reads the newest of the journal, as a reader would.
func (r *rounds) look() error {
	list, err := r.agent.events(r.seen.newest)
	if err != nil {
		return err
	}
	for _, e := range list {
		r.seen.add(e)
	}
	return nil
}

// act sends commands, and again those that were not answered.
func (r *rounds) act() {
	r.next++
	r.open = append(r.open, fmt.Sprintf("soak-%d", r.next))
	r.again()
	r.agent.command(map[string]string{ // it may well be refused
		"id": fmt.Sprintf("ack-%d", r.next), "action": "acknowledge", "by": "soak",
		"gland": glandID(r.dice.IntN(soakLoad.glands)), "condition": "burning",
	})
}

func (r *rounds) again() {
	var open []string
	for _, id := range r.open {
		if r.record(id) {
			r.done = append(r.done, id)
		} else {
			open = append(open, id)
		}
	}
	r.open = open
}

func (r *rounds) record(id string) bool {
	return r.agent.command(map[string]string{
		"id": id, "action": "record", "kind": "sensor-cleaned", "by": "soak", "gland": glandID(0), "note": "sent by the soak",
	})
}

func (r *rounds) killAgent() error {
	r.counts["agent killed"]++
	// Also in the middle of a command.
	id := fmt.Sprintf("soak-%d", r.next+1)
	r.next++
	answered := make(chan bool, 1)
	go func() { answered <- r.record(id) }()
	time.Sleep(time.Duration(r.dice.Int64N(int64(4 * time.Millisecond))))
	r.agent.process.Kill()
	if <-answered {
		r.done = append(r.done, id)
	} else {
		r.open = append(r.open, id)
	}
	return r.agent.start()
}

func (r *rounds) killAgentWith(m linkMode) error {
	r.link.set(m)
	r.pause(faultMost)
	if err := r.look(); err != nil {
		return err
	}
	if err := r.killAgent(); err != nil {
		return err
	}
	r.counts["with the link "+m.String()]++
	r.pause(faultMost / 2)
	r.link.set(linkOpen)
	return nil
}

func (r *rounds) failLink(m linkMode) error {
	r.counts["link "+m.String()]++
	r.link.set(m)
	r.pause(faultMost)
	r.link.set(linkOpen)
	return nil
}

func (r *rounds) stopBroker(killAgent bool) error {
	r.counts["broker stopped"]++
	if err := r.broker.stop(); err != nil {
		return err
	}
	r.pause(faultMost)
	if killAgent {
		if err := r.killAgent(); err != nil {
			return err
		}
	}
	return r.broker.start()
}

// finish ends the load and the harm, and compares.
func (r *rounds) finish() (*verdict, error) {
	r.act()
	r.agent.process.Kill()
	if err := r.calmDown(); err != nil {
		return nil, err
	}
	err := rig.Until("every command is answered", patience, func() bool {
		r.again()
		return len(r.open) == 0
	})
	if err != nil {
		return nil, err
	}
	return r.deliver()
}

// deliver opens the link, waits until everything is delivered, and compares.
func (r *rounds) deliver() (*verdict, error) {
	r.link.set(linkOpen)
	err := rig.Until("everything is delivered", deliverMost, func() bool {
		n, err := r.agent.pending()
		return err == nil && n == 0
	})
	if err != nil {
		return nil, err
	}
	journal, err := r.agent.events(0)
	if err != nil || len(journal) == 0 {
		return nil, errors.Join(errors.New("the journal cannot be read or is empty"), err)
	}
	newest := journal[len(journal)-1].seq
	// What is not there by then counts as lost below.
	_ = rig.Until("the newest event arrives", patience, func() bool { return r.sub.newest() >= newest })
	got, err := r.sub.end()
	if err != nil {
		return nil, err
	}
	r.say("journal: %d events; delivered: %d and %d doubles; seen by a reader before a crash: %d; commands: %d; agent started %d times",
		len(journal), len(got.first), got.doubles, len(r.seen.seen), len(r.done), r.agent.starts)
	return judge(journal, got, r.seen, r.done), errors.Join(r.agent.stop(), r.agent.panicked())
}

// calmDown goes on without the load.
func (r *rounds) calmDown() error {
	glands, err := soakLoad.quiet(r.agent.dir)
	if err != nil {
		return err
	}
	if err := r.agent.configure("soak", mqttConfig(r.link.url())+glands); err != nil {
		return err
	}
	return r.agent.start()
}

// clear ends all that was started.
func (r *rounds) clear() error {
	var errs []error
	if r.sub != nil && r.sub.client.IsConnected() {
		r.sub.client.Disconnect(0)
	}
	if r.agent != nil {
		r.agent.process.Kill()
	}
	if r.link != nil {
		errs = append(errs, r.link.close())
	}
	if r.broker != nil {
		errs = append(errs, r.broker.stop())
	}
	return errors.Join(errs...)
}
