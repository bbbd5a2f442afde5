package main

import (
	"sync"
	"time"

	"weepd/agent/metrics"
	"weepd/agent/mqtt"
)

// publishing is the publisher at present, for the metrics: its counts go on when
// another takes its place.
type publishing struct {
	mu     sync.Mutex
	now    *mqtt.Publisher // nil: nothing is published
	before uint64          // events that those before it have sent
}

func (p *publishing) set(next *mqtt.Publisher) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now != nil {
		p.before += p.now.OutboxSent()
	}
	p.now = next
}

func (p *publishing) measured() metrics.Publisher {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now == nil {
		return nil
	}
	return counted{p.now, p.before}
}

type counted struct {
	*mqtt.Publisher
	before uint64
}

// OutboxSent counts what the publishers before sent too.
func (s counted) OutboxSent() uint64 { return s.before + s.Publisher.OutboxSent() }

// withBroker adds when the certificate ends that the broker shows.
func (p *publishing) withBroker(ends map[string]time.Time) map[string]time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now == nil {
		return ends
	}
	if at, known := p.now.BrokerCertificateEnds(); known {
		ends["mqtt.broker"] = at
	}
	return ends
}
