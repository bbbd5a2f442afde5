package mqtt

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
)

const (
	windowSize = 100 // messages in flight
	glandsLook = time.Second
	readAgain  = 5 * time.Second // an outbox that could not be read
)

// session is what is known of one connection: what was sent, what is in flight.
type session struct {
	p      *Publisher
	client paho.Client
	lost   <-chan error

	window  []inFlight
	sentSeq uint64 // last event handed to the client
	acked   uint64 // all events up to here are acknowledged
	deleted uint64 // and out of the outbox

	requests chan request
	replies  chan reply
	unread   time.Time // when the outbox could not be read
	stalled  bool
	drained  bool // the outbox was read to its end: nothing new before the station's next event

	alarmsSeen []agent.Alarm // of the newest snapshot that was looked through

	urgent []agent.Urgent  // in flight
	status *agent.Snapshot // as it was when the status was sent
	alarms map[alarmKey]alarmMark
	glands map[string]sentGland
	looked time.Time // at the glands
}

type inFlight struct {
	token paho.Token
	seq   uint64 // 0: no event
	topic string
}

func newSession(p *Publisher, client paho.Client, lost <-chan error) *session {
	return &session{
		p: p, client: client, lost: lost,
		requests: make(chan request, requestsMost), replies: make(chan reply),
		alarms: make(map[alarmKey]alarmMark), glands: make(map[string]sentGland),
	}
}

// run publishes until ctx ends (nil) or the connection fails.
func (s *session) run(ctx context.Context) error {
	if err := s.publishStatus(); err != nil {
		return err
	}
	stop, err := s.takeCommands(ctx)
	if err != nil {
		return err
	}
	defer stop()
	for {
		changed := s.p.board.Changed()
		more, err := s.catchUp(ctx)
		if err != nil {
			return err
		}
		if more && ctx.Err() == nil {
			continue
		}
		done, err := s.rest(ctx, changed)
		if err != nil || done {
			return err
		}
	}
}

// publishStatus says that the agent is there, and how it stands with its
// configuration.
func (s *session) publishStatus() error {
	s.status = s.p.board.Latest()
	return s.publish("status", 1, true, 0, s.p.status(online))
}

// catchUp brings the topics up to date: states first, so that a backlog of
// events never holds the newest alarm up. more says that events are left.
func (s *session) catchUp(ctx context.Context) (more bool, err error) {
	if err := s.sendReplies(); err != nil {
		return false, err
	}
	latest := s.p.board.Latest()
	if err := s.publishAlarms(latest); err != nil {
		return false, err
	}
	if s.status.Config != latest.Config {
		if err := s.publishStatus(); err != nil {
			return false, err
		}
	}
	if err := s.publishGlands(latest, time.Now()); err != nil {
		return false, err
	}
	return s.publishEvents(ctx, latest)
}

// rest waits for the next thing to do and collects acknowledgements meanwhile.
func (s *session) rest(ctx context.Context, changed <-chan struct{}) (done bool, err error) {
	for {
		var head <-chan struct{}
		if len(s.window) > 0 {
			head = s.window[0].token.Done()
		}
		timer := time.NewTimer(s.patience())
		select {
		case <-ctx.Done():
			done = true
		case <-changed:
		case u := <-s.p.board.Urgent():
			timer.Stop()
			if err = s.publishUrgent(u); err != nil {
				return false, err
			}
			continue
		case r := <-s.replies:
			err = s.publish("reply/"+r.id, 1, false, 0, r.Reply)
		case err = <-s.lost:
			err = lostBy(err)
		case <-head:
			timer.Stop()
			if err = s.headDone(); err != nil {
				return false, err
			}
			continue
		case <-timer.C:
			if len(s.window) > 0 && !s.stalled {
				err = s.unacknowledged()
			}
		}
		timer.Stop()
		return done, err
	}
}

func (s *session) patience() time.Duration {
	if s.stalled {
		return readAgain
	}
	return ackTimeout
}

// publish hands a message to the client, after making room in the window.
func (s *session) publish(topic string, qos byte, retained bool, seq uint64, payload any) error {
	text, err := json.Marshal(payload)
	if err != nil {
		return fmt.Errorf("payload of %s: %w", topic, err)
	}
	return s.send(topic, qos, retained, seq, text)
}

func (s *session) send(topic string, qos byte, retained bool, seq uint64, text []byte) error {
	if len(s.window) >= windowSize {
		if err := s.waitHead(ackTimeout); err != nil {
			return err
		}
	}
	token := s.client.Publish(s.p.cfg.Root+"/"+topic, qos, retained, text)
	s.window = append(s.window, inFlight{token, seq, topic})
	return nil
}

func (s *session) waitHead(limit time.Duration) error {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-s.window[0].token.Done():
		return s.headDone()
	case err := <-s.lost:
		return lostBy(err)
	case <-timer.C:
		return s.unacknowledged()
	}
}

// headDone takes the oldest message out of the window. Only contiguous
// acknowledgements get here, so all before it are delivered too.
func (s *session) headDone() error {
	head := s.window[0]
	if err := head.token.Error(); err != nil {
		return fmt.Errorf("publish %s: %w", head.topic, err)
	}
	s.window = s.window[1:]
	if len(s.window) == 0 {
		for _, u := range s.urgent {
			u.Sent()
		}
		s.urgent = nil
	}
	if head.seq > 0 {
		s.acked = head.seq
		s.p.countSent(head.seq)
	}
	if len(s.window) > 0 && s.acked-s.deleted < windowSize {
		return nil
	}
	return s.delete()
}

// fail deletes what was acknowledged all the same.
func (s *session) fail(error) error { return s.delete() }

func (s *session) delete() error {
	if s.acked == s.deleted {
		return nil
	}
	// Not the run's context: what is acknowledged is deleted also while stopping.
	ctx, cancel := context.WithTimeout(context.Background(), partTimeout)
	defer cancel()
	if err := s.p.outbox.Delete(ctx, s.acked); err != nil {
		return fmt.Errorf("outbox: %w", err)
	}
	s.deleted = s.acked
	return nil
}

// part sends what is left within a bound and says offline.
func (s *session) part() error {
	ctx, cancel := context.WithTimeout(context.Background(), partTimeout)
	defer cancel()
	until := time.Now().Add(partTimeout)
	s.looked = time.Time{}
	for more := true; more && time.Now().Before(until); {
		var err error
		if more, err = s.catchUp(ctx); err != nil {
			return err
		}
	}
	if err := s.publish("status", 1, true, 0, s.p.status(offline)); err != nil {
		return err
	}
	for len(s.window) > 0 {
		if err := s.waitHead(max(time.Until(until), partTimeout/3)); err != nil {
			return err
		}
	}
	return nil
}

func (s *session) unacknowledged() error {
	return fmt.Errorf("no acknowledgement of %s within %s", s.window[0].topic, ackTimeout)
}

func lostBy(err error) error {
	if err == nil {
		return errLost
	}
	return errors.Join(errLost, err)
}
