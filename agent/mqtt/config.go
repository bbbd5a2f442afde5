// Package mqtt publishes the station to an MQTT 3.1.1 broker.
//
// Topics below the root: status (retained, QoS 1, last will offline),
// gland/<id> (retained, QoS 0, by exception), alarm/<id>/<condition>
// (retained, QoS 1), event (QoS 1, every event once and in order) and
// reply/<id> (QoS 1). Commands are taken from command. Or the station is a
// Sparkplug B edge node with a device for each gland: see edge.go.
//
// The MQTT library has no durable duty: each connection is a new client with a
// clean session, events are read from the outbox and deleted only after the
// broker has acknowledged them and all before them.
package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"weepd/agent"
)

// Config says how to reach the broker.
type Config struct {
	Broker       string // tcp://host:port or ssl://host:port
	Root         string // first levels of every topic, e.g. weepd/quarry
	ClientID     string
	Username     string
	PasswordFile string // read at each connection, so that it may be changed
	TLS          TLS    // used with ssl:// only
	Version      string // of the agent, for status

	Station        string // part of what a command's signature covers
	CommandKeyFile string // empty: commands need no signature
	CommandWindow  time.Duration

	Sparkplug *Sparkplug // nil: JSON below Root
}

// Sparkplug says who the station is in Sparkplug B's topics, which have JSON's
// place.
type Sparkplug struct {
	Group string
	Node  string // the edge node: the station
	Host  string // primary host application to wait for; empty: none
}

// TLS has the files of an encrypted connection; empty means not given.
type TLS struct {
	CA         string // certificates to trust instead of the system's
	Cert, Key  string // the agent's own, both or none
	ServerName string // name the broker's certificate must carry, if not the host's
}

// Outbox is what the publisher needs of the store.
type Outbox interface {
	// Pending gives up to limit undelivered events with Seq > after, in order.
	Pending(ctx context.Context, after uint64, limit int) ([]agent.Event, error)
	// Delete takes the events up to and with seq out: they were delivered.
	Delete(ctx context.Context, seq uint64) error
}

// Board is where the publisher sees the station.
type Board interface {
	Latest() *agent.Snapshot
	Changed() <-chan struct{}
	// Urgent gives alarms that are to be sent before anything else.
	Urgent() <-chan agent.Urgent
}

// Doer carries out commands.
type Doer interface {
	Do(ctx context.Context, c agent.Command) agent.Reply
}

// New makes a publisher; Run runs it. doer may be nil: no commands are taken.
func New(cfg Config, board Board, outbox Outbox, doer Doer, log *slog.Logger) *Publisher {
	return &Publisher{problems: make(map[string]bool), cfg: cfg, board: board, outbox: outbox, doer: doer, log: log.With("broker", cfg.Broker)}
}

func (c Config) encrypted() bool { return !strings.HasPrefix(c.Broker, "tcp://") }

func (c Config) password() (string, error) {
	if c.PasswordFile == "" {
		return "", nil
	}
	text, err := os.ReadFile(c.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("mqtt.password_file: %w", err)
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}

func (c Config) tls() (*tls.Config, error) {
	out := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: c.TLS.ServerName}
	if c.TLS.CA != "" {
		text, err := os.ReadFile(c.TLS.CA)
		if err != nil {
			return nil, fmt.Errorf("mqtt.tls.ca: %w", err)
		}
		out.RootCAs = x509.NewCertPool()
		if !out.RootCAs.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("mqtt.tls.ca: %s holds no certificate in PEM form", c.TLS.CA)
		}
	}
	if c.TLS.Cert != "" || c.TLS.Key != "" {
		pair, err := tls.LoadX509KeyPair(c.TLS.Cert, c.TLS.Key)
		if err != nil {
			return nil, fmt.Errorf("mqtt.tls.cert, mqtt.tls.key: %w", err)
		}
		out.Certificates = []tls.Certificate{pair}
	}
	return out, nil
}

var errLost = errors.New("connection lost")
