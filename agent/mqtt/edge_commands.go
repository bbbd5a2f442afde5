package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
)

// Names of the node's metrics.
const (
	rebirthMetric = "Node Control/Rebirth"
	versionMetric = "Properties/Version"
	eventMetric   = "Event"   // each entry of the journal, as JSON
	commandMetric = "Command" // to write: a command, as JSON
	replyMetric   = "Reply"   // to the last command, as JSON
)

// subscribe asks for commands and for the primary host's state.
func (e *edge) subscribe(ctx context.Context) error {
	if err := e.ask(ctx, e.node.Topic(sparkplug.NCmd, ""), e.into(e.commands)); err != nil {
		return err
	}
	if e.p.cfg.Sparkplug.Host == "" {
		return nil
	}
	return e.ask(ctx, sparkplug.StateTopic(e.p.cfg.Sparkplug.Host), e.into(e.states))
}

// into gives a handler that never waits: the library's reader calls it.
func (e *edge) into(list chan<- request) paho.MessageHandler {
	return func(_ paho.Client, m paho.Message) {
		select {
		case list <- request{m.Payload(), m.Retained()}:
		default:
			e.p.log.Warn("mqtt: too many messages at once; one is dropped", "topic", m.Topic(), "waiting", requestsMost)
		}
	}
}

// ask subscribes and waits for the broker's answer.
func (e *edge) ask(ctx context.Context, topic string, handler paho.MessageHandler) error {
	token := e.client.Subscribe(topic, 1, handler)
	timer := time.NewTimer(subscribeTimeout)
	defer timer.Stop()
	var err error
	select {
	case <-token.Done():
		err = token.Error()
	case err = <-e.lost:
		err = lostBy(err)
	case <-timer.C:
		err = fmt.Errorf("no answer within %s", subscribeTimeout)
	case <-ctx.Done():
		err = ctx.Err()
	}
	if err == nil {
		if granted := token.(*paho.SubscribeToken).Result()[topic]; granted > 2 { // MQTT 3.1.1, 3.9.3: 0x80 is failure
			err = errors.New("the broker refuses it; check its access list")
		}
	}
	if err != nil {
		return fmt.Errorf("subscribe to %s: %w", topic, err)
	}
	return nil
}

// awaitHost waits until the primary host is there, if there is one.
func (e *edge) awaitHost(ctx context.Context) error {
	if e.p.cfg.Sparkplug.Host == "" {
		return nil
	}
	for {
		select {
		case s := <-e.states:
			if online, counts := e.hostState(s); counts && online {
				return nil
			}
		case r := <-e.commands:
			if err := e.take(r); err != nil {
				return err
			}
		case err := <-e.lost:
			return lostBy(err)
		case <-ctx.Done():
			return nil
		}
	}
}

// hostState reads a STATE message. One that is older than another that counted
// is an old session's and does not count.
func (e *edge) hostState(r request) (online, counts bool) {
	s, err := sparkplug.ParseState(r.payload)
	if err != nil {
		e.p.log.Warn("mqtt: the primary host's state cannot be read", "error", err)
		return false, false
	}
	if s.Time.Before(e.hostTime) {
		return s.Online, false
	}
	e.hostTime = s.Time
	return s.Online, true
}

// take reads a command to the node. One that is retained is old.
func (e *edge) take(r request) error {
	p, err := sparkplug.Decode(r.payload)
	if err != nil || r.retained {
		e.p.log.Warn("mqtt: command refused: it is retained or no payload of Sparkplug B", "error", err)
		return nil
	}
	for _, m := range p.Metrics {
		rebirth, isBool := m.Value.(bool)
		command, isText := m.Value.(string)
		switch {
		case m.Name == rebirthMetric && isBool && rebirth:
			if e.born {
				if err := e.birth(); err != nil {
					return err
				}
			}
		case e.isCommand(m) && isText && e.p.doer != nil:
			select {
			case e.requests <- request{payload: []byte(command)}:
			default:
				e.p.log.Warn("mqtt: too many commands at once; one is dropped without a reply", "waiting", requestsMost)
			}
		default:
			e.p.log.Warn("mqtt: a command to what cannot be written is ignored", "metric", m.Name, "alias", m.Alias)
		}
	}
	return nil
}

func (e *edge) isCommand(m sparkplug.Metric) bool {
	if m.Name != "" || e.own == nil {
		return m.Name == commandMetric
	}
	return m.Alias == e.own.alias(commandMetric)
}

func (e *edge) publishReply(r reply) error {
	text, err := json.Marshal(struct {
		ID string `json:"id"`
		agent.Reply
	}{r.id, r.Reply})
	if err != nil {
		return err
	}
	return e.send(sparkplug.NData, "", []sparkplug.Metric{e.own.set(replyMetric, string(text), time.Now())})
}
