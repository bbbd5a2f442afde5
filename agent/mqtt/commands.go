package mqtt

import (
	"context"
	"fmt"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
)

const (
	// requestsMost commands wait at most; a person sends one at a time.
	requestsMost     = 64
	subscribeTimeout = 20 * time.Second
	// noID is the level of replies to commands whose id cannot be one. No id
	// begins with it.
	noID = "-"
)

type request struct {
	payload  []byte
	retained bool
}

type reply struct {
	id string
	agent.Reply
}

// takeCommands subscribes and starts the one goroutine that carries commands
// out, in the order in which they came. stop ends it.
func (s *session) takeCommands(ctx context.Context) (stop func(), err error) {
	if s.p.doer == nil {
		return func() {}, nil
	}
	token := s.client.Subscribe(s.p.cfg.Root+"/command", 1, s.receive)
	timer := time.NewTimer(subscribeTimeout)
	defer timer.Stop()
	select {
	case <-token.Done():
		err = token.Error()
	case err = <-s.lost:
		err = lostBy(err)
	case <-timer.C:
		err = fmt.Errorf("no acknowledgement of the subscription within %s", subscribeTimeout)
	case <-ctx.Done():
		return func() {}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("subscribe to %s/command: %w", s.p.cfg.Root, err)
	}
	if granted := token.(*paho.SubscribeToken).Result()[s.p.cfg.Root+"/command"]; granted > 2 { // MQTT 3.1.1, 3.9.3: 0x80 is failure
		s.p.log.Warn("mqtt: the broker refuses the subscription to commands; check its access list", "topic", s.p.cfg.Root+"/command")
		return func() {}, nil
	}
	own, cancel := context.WithCancel(ctx)
	var worker sync.WaitGroup
	worker.Go(func() { s.p.work(own, s.requests, s.replies) })
	return func() { cancel(); worker.Wait() }, nil
}

// receive must not wait: the library's reader calls it. What finds no room is
// dropped; its sender gets no reply and sends it again.
func (s *session) receive(_ paho.Client, m paho.Message) {
	select {
	case s.requests <- request{m.Payload(), m.Retained()}:
	default:
		s.p.log.Warn("mqtt: too many commands at once; one is dropped without a reply", "waiting", requestsMost)
	}
}

// work carries out what is asked, one after the other, until ctx ends.
func (p *Publisher) work(ctx context.Context, requests <-chan request, replies chan<- reply) {
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-requests:
			answer := p.obey(ctx, r)
			select {
			case replies <- answer:
			case <-ctx.Done():
				return
			}
		}
	}
}

// sendReplies sends the replies that are there.
func (s *session) sendReplies() error {
	for {
		select {
		case r := <-s.replies:
			if err := s.publish("reply/"+r.id, 1, false, 0, r.Reply); err != nil {
				return err
			}
		default:
			return nil
		}
	}
}

// obey has a command carried out if it may be.
func (p *Publisher) obey(ctx context.Context, r request) reply {
	c, refused := agent.ParseCommand(r.payload)
	id := c.ID
	if !agent.ValidCommandID(id) {
		id = noID
	}
	switch {
	case refused != nil:
	case r.retained:
		answer := agent.Refuse(agent.ReasonMalformed, "the command is retained: the broker would send it again at each connection; send it without")
		refused = &answer
	default:
		refused = p.unsigned(c, time.Now())
	}
	if refused != nil {
		p.log.Warn("mqtt: command refused", "id", id, "reason", refused.Error)
		return reply{id, *refused}
	}
	return reply{id, p.doer.Do(ctx, c)}
}
