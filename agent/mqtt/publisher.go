package mqtt

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"log/slog"
	"math/rand/v2"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"weepd/agent"
)

// Timing of a connection; what is not our own is from the measured pattern:
// see DEVELOPERS.md.
const (
	keepAlive      = 30 * time.Second
	pingTimeout    = 10 * time.Second
	writeTimeout   = 10 * time.Second
	connectTimeout = 15 * time.Second
	ackTimeout     = 20 * time.Second // for the oldest message in flight
	partTimeout    = 1500 * time.Millisecond
	quiesceMS      = 100

	online, offline = "online", "offline" // states of status

	backoffFirst = time.Second
	backoffMost  = time.Minute
)

// Publisher keeps a connection to the broker and the topics up to date.
type Publisher struct {
	cfg    Config
	board  Board
	outbox Outbox
	doer   Doer
	log    *slog.Logger

	sent      atomic.Uint64
	sentUpTo  uint64 // newest event that was counted; one sent again counts once
	connected atomic.Bool
	problems  map[string]bool         // those that the log was told since the last connection
	dial      paho.OpenConnectionFunc // nil: the network's
	connects  int64                   // counted for Sparkplug's bdSeq

	brokerEnds atomic.Pointer[time.Time] // of the certificate that the broker showed last
}

// OutboxSent counts the events that the broker has acknowledged.
func (p *Publisher) OutboxSent() uint64 { return p.sent.Load() }

func (p *Publisher) countSent(seq uint64) {
	if seq > p.sentUpTo {
		p.sentUpTo = seq
		p.sent.Add(1)
	}
}

// Connected reports whether there is a connection to the broker.
func (p *Publisher) Connected() bool { return p.connected.Load() }

// BrokerCertificateEnds gives when the first of the certificates that the broker
// showed last ends; false while there was none.
func (p *Publisher) BrokerCertificateEnds() (time.Time, bool) {
	ends := p.brokerEnds.Load()
	if ends == nil {
		return time.Time{}, false
	}
	return *ends, true
}

// Run publishes until ctx ends, over as many connections as it takes. A broker
// that cannot be reached is tried again for ever and never an error.
func (p *Publisher) Run(ctx context.Context) error {
	wait := backoffFirst
	for ctx.Err() == nil {
		began := time.Now()
		err := p.connection(ctx)
		if errors.Is(err, errHostOffline) && ctx.Err() == nil {
			p.log.Info("mqtt: the primary host is offline; events wait for it", "host", p.cfg.Sparkplug.Host)
			continue // and wait for it on a new connection
		}
		if ctx.Err() == nil {
			p.report(err)
		}
		if time.Since(began) > backoffMost {
			wait = backoffFirst
		}
		select {
		case <-ctx.Done():
		case <-time.After(wait/2 + rand.N(wait/2+1)):
		}
		wait = min(2*wait, backoffMost)
	}
	return nil
}

// problemsMost bounds what the log is told while there is no connection: some
// texts name a port that is another each time.
const problemsMost = 8

// report logs a problem once, not at each try.
func (p *Publisher) report(err error) {
	text := p.cfg.explain(err).Error()
	if p.problems[text] || len(p.problems) >= problemsMost {
		return
	}
	p.problems[text] = true
	p.log.Error("mqtt: not connected; trying again until it works", "error", text)
}

// connection lives as long as one connection to the broker.
func (p *Publisher) connection(ctx context.Context) error {
	lost := make(chan error, 1)
	opts, err := p.options(lost)
	if err != nil {
		return err
	}
	client := paho.NewClient(opts)
	token := client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		client.Disconnect(0)
		return ctx.Err()
	}
	if err := token.Error(); err != nil {
		return err
	}
	p.connected.Store(true)
	clear(p.problems)
	p.log.Info("mqtt: connected", "root", p.cfg.Root)
	defer func() {
		p.connected.Store(false)
		client.Disconnect(quiesceMS)
	}()
	s := p.speaker(client, lost)
	if err := s.run(ctx); err != nil {
		return errors.Join(err, s.fail(err))
	}
	return s.part()
}

// speaker is one connection's way to speak.
type speaker interface {
	run(ctx context.Context) error // until ctx ends (nil) or the connection fails
	part() error                   // sends what is left and says goodbye
	fail(err error) error          // keeps what the failed connection achieved
}

func (p *Publisher) speaker(client paho.Client, lost <-chan error) speaker {
	if p.cfg.Sparkplug != nil {
		return newEdge(p, client, lost)
	}
	return newSession(p, client, lost)
}

func (p *Publisher) options(lost chan<- error) (*paho.ClientOptions, error) {
	password, err := p.cfg.password()
	if err != nil {
		return nil, err
	}
	topic, will, retained, err := p.will()
	if err != nil {
		return nil, err
	}
	opts := paho.NewClientOptions().
		AddBroker(p.cfg.Broker).SetClientID(p.cfg.ClientID).
		SetUsername(p.cfg.Username).SetPassword(password).
		SetBinaryWill(topic, will, 1, retained).
		SetProtocolVersion(4).SetCleanSession(true).SetOrderMatters(true). // commands come in order
		SetAutoReconnect(false).SetConnectRetry(false).
		SetKeepAlive(keepAlive).SetPingTimeout(pingTimeout).
		SetWriteTimeout(writeTimeout).SetConnectTimeout(connectTimeout).
		SetConnectionLostHandler(func(_ paho.Client, err error) {
			select {
			case lost <- err:
			default:
			}
		})
	if p.dial != nil {
		opts.SetCustomOpenConnectionFn(p.dial)
	}
	if p.cfg.encrypted() {
		config, err := p.cfg.tls()
		if err != nil {
			return nil, err
		}
		config.VerifyConnection = p.noteCertificates
		opts.SetTLSConfig(config)
	}
	return opts, nil
}

// will is what the broker says when the connection is lost.
func (p *Publisher) will() (topic string, payload []byte, retained bool, err error) {
	if p.cfg.Sparkplug != nil {
		topic, payload = p.nodeDeath()
		return topic, payload, false, nil
	}
	payload, err = json.Marshal(p.status(offline))
	return p.cfg.Root + "/status", payload, true, err
}

// status is since the agent's start; the last will cannot know when it is sent.
func (p *Publisher) status(state string) agent.Status {
	latest := p.board.Latest()
	s := agent.Status{State: state, Version: p.cfg.Version, Since: latest.Started.UTC().Truncate(time.Millisecond)}
	if state == online {
		s.Config = latest.Config.Trouble()
	}
	return s
}

// noteCertificates is called when the broker's certificates have been verified.
func (p *Publisher) noteCertificates(shown tls.ConnectionState) error {
	var ends time.Time
	for _, c := range shown.PeerCertificates {
		if ends.IsZero() || c.NotAfter.Before(ends) {
			ends = c.NotAfter
		}
	}
	p.brokerEnds.Store(&ends)
	return nil
}
