package mqtt

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
)

// errHostOffline ends a connection whose primary host has gone.
var errHostOffline = errors.New("the primary host is offline")

// edge speaks Sparkplug B on one connection: the station is an edge node, each
// gland a device. What the specification asks of it is in
// sparkplug/conformance.csv, each line with its test.
//
// Sparkplug sends data with QoS 0, which nobody acknowledges. An event leaves
// the outbox when the broker has answered a subscription that was sent after
// it: a broker reads a connection in order, so it has read the event too. With a
// primary host events wait until that host is there; without one, a message that
// no host is subscribed to is lost with the broker's blessing.
type edge struct {
	p      *Publisher
	client paho.Client
	lost   <-chan error
	node   sparkplug.Node
	bdSeq  int64
	seq    uint8 // of the next message

	flying   []paho.Token // not written to the connection yet
	requests chan request
	replies  chan reply
	commands chan request // NCMD as they came
	states   chan request // of the primary host
	hostTime time.Time    // of the newest STATE that counted

	born    bool
	bornAt  time.Time
	bornSeq uint64 // events up to here were before the birth
	sentSeq uint64
	drained bool
	unread  time.Time // when the outbox could not be read
	looked  time.Time // at the glands
	own     *tags     // of the node
	devices map[string]*device
}

func newEdge(p *Publisher, client paho.Client, lost <-chan error) *edge {
	return &edge{
		p: p, client: client, lost: lost, node: p.node(), bdSeq: p.connects - 1,
		requests: make(chan request, requestsMost), replies: make(chan reply),
		commands: make(chan request, requestsMost), states: make(chan request, requestsMost),
	}
}

func (p *Publisher) node() sparkplug.Node {
	return sparkplug.Node{Group: p.cfg.Sparkplug.Group, ID: p.cfg.Sparkplug.Node}
}

// nodeDeath gives the death certificate of the next connection; its bdSeq
// counts the connections, 255 is followed by 0.
func (p *Publisher) nodeDeath() (topic string, payload []byte) {
	p.connects = p.connects%256 + 1
	return p.node().Topic(sparkplug.NDeath, ""), death(p.connects - 1)
}

func death(bdSeq int64) []byte {
	return sparkplug.Payload{Time: time.Now(), Metrics: []sparkplug.Metric{
		{Name: "bdSeq", Time: time.Now(), Datatype: sparkplug.Int64, Value: bdSeq},
	}}.Append(nil)
}

// run publishes until ctx ends (nil) or the connection fails.
func (e *edge) run(ctx context.Context) error {
	if err := e.subscribe(ctx); err != nil {
		return err
	}
	own, cancel := context.WithCancel(ctx)
	var worker sync.WaitGroup
	worker.Go(func() { e.p.work(own, e.requests, e.replies) })
	defer func() { cancel(); worker.Wait() }()
	if err := e.awaitHost(ctx); err != nil || ctx.Err() != nil {
		return err
	}
	if err := e.birth(); err != nil {
		return err
	}
	for {
		changed := e.p.board.Changed()
		more, err := e.look(ctx)
		if err != nil {
			return err
		}
		if more && ctx.Err() == nil {
			continue
		}
		if done, err := e.rest(ctx, changed); err != nil || done {
			return err
		}
	}
}

// look publishes what changed, devices first: a backlog never holds them up.
func (e *edge) look(ctx context.Context) (more bool, err error) {
	latest := e.p.board.Latest()
	if err := e.publishDevices(latest, time.Now()); err != nil {
		return false, err
	}
	return e.publishEvents(ctx, latest)
}

// rest waits for the next thing to do.
func (e *edge) rest(ctx context.Context, changed <-chan struct{}) (done bool, err error) {
	for {
		select {
		case <-ctx.Done():
			return true, nil
		case <-changed:
			return false, nil
		case u := <-e.p.board.Urgent():
			err = e.publishUrgent(u)
		case r := <-e.commands:
			err = e.take(r)
		case r := <-e.replies:
			err = e.publishReply(r)
		case s := <-e.states:
			if online, counts := e.hostState(s); counts && !online {
				err = errHostOffline
			}
		case err = <-e.lost:
			err = lostBy(err)
		}
		if err != nil {
			return false, err
		}
	}
}

// send publishes with QoS 0, not retained, with the next sequence number.
func (e *edge) send(kind, device string, metrics []sparkplug.Metric) error {
	if kind == sparkplug.NBirth {
		e.seq = 0
	}
	seq := e.seq
	e.seq++ // 255 is followed by 0
	payload := sparkplug.Payload{Time: time.Now(), Metrics: metrics, Seq: &seq}
	topic := e.node.Topic(kind, device)
	e.flying = append(e.flying, e.client.Publish(topic, 0, false, payload.Append(nil)))
	if len(e.flying) >= windowSize {
		return e.flush()
	}
	return nil
}

// flush waits until everything is written to the connection.
func (e *edge) flush() error {
	timer := time.NewTimer(ackTimeout)
	defer timer.Stop()
	for _, token := range e.flying {
		select {
		case <-token.Done():
			if err := token.Error(); err != nil {
				return fmt.Errorf("publish: %w", err)
			}
		case err := <-e.lost:
			return lostBy(err)
		case <-timer.C:
			return fmt.Errorf("nothing could be written within %s", ackTimeout)
		}
	}
	e.flying = e.flying[:0]
	return nil
}

// fail says goodbye if only the host has gone.
func (e *edge) fail(err error) error {
	if errors.Is(err, errHostOffline) {
		return e.die()
	}
	return nil
}

// part sends what is left within a bound and says goodbye.
func (e *edge) part() error {
	if e.born {
		ctx, cancel := context.WithTimeout(context.Background(), partTimeout)
		defer cancel()
		e.looked = time.Time{}
		for more := true; more && ctx.Err() == nil; {
			var err error
			if more, err = e.look(ctx); err != nil {
				return err
			}
		}
	}
	return e.die()
}

// die publishes the death of the node; the caller disconnects.
func (e *edge) die() error {
	if err := e.flush(); err != nil {
		return err
	}
	e.born = false
	token := e.client.Publish(e.node.Topic(sparkplug.NDeath, ""), 1, false, death(e.bdSeq))
	if !token.WaitTimeout(partTimeout) {
		return fmt.Errorf("no acknowledgement of %s within %s", sparkplug.NDeath, partTimeout)
	}
	return token.Error()
}

func (e *edge) publishUrgent(u agent.Urgent) error {
	for _, a := range u.Alarms {
		if err := e.publishAlarm(a); err != nil {
			return err
		}
	}
	if err := e.flush(); err != nil {
		return err
	}
	u.Sent()
	return nil
}
