package main

import (
	"context"
	"fmt"
	"net"
	"sync"
)

// link is a TCP proxy before the broker that fails as networks do.
type link struct {
	listener net.Listener
	to       string

	mu    sync.Mutex
	mode  linkMode
	conns map[net.Conn]bool
	all   sync.WaitGroup
}

// linkMode is how the link treats what passes.
type linkMode uint8

const (
	linkOpen     linkMode = iota
	linkShut              // nobody gets through; what is connected is cut
	linkDeafUp            // what the agent sends vanishes
	linkDeafDown          // what the broker answers vanishes: acknowledgements are withheld
)

func (m linkMode) String() string {
	return [...]string{"open", "shut", "deaf up", "deaf down"}[m]
}

func newLink(to string) (*link, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(context.Background(), "tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	k := &link{listener: l, to: to, conns: make(map[net.Conn]bool)}
	k.all.Go(k.accept)
	return k, nil
}

func (k *link) url() string { return "tcp://" + k.listener.Addr().String() }

func (k *link) accept() {
	for {
		c, err := k.listener.Accept()
		if err != nil {
			return // closed
		}
		k.all.Go(func() { k.serve(c) })
	}
}

func (k *link) serve(agent net.Conn) {
	var d net.Dialer
	broker, err := d.DialContext(context.Background(), "tcp", k.to)
	if err != nil || !k.keep(agent, broker) {
		_ = agent.Close()
		if err == nil {
			_ = broker.Close()
		}
		return
	}
	var both sync.WaitGroup
	both.Go(func() { k.pass(broker, agent, linkDeafUp) })
	both.Go(func() { k.pass(agent, broker, linkDeafDown) })
	both.Wait()
	k.mu.Lock()
	defer k.mu.Unlock()
	delete(k.conns, agent)
	delete(k.conns, broker)
}

// keep notes a connection; false while the link is shut.
func (k *link) keep(conns ...net.Conn) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.mode == linkShut {
		return false
	}
	for _, c := range conns {
		k.conns[c] = true
	}
	return true
}

// pass copies until either side ends; deaf is the mode in which it swallows.
func (k *link) pass(to, from net.Conn, deaf linkMode) {
	defer func() { _, _ = to.Close(), from.Close() }()
	buffer := make([]byte, 16<<10)
	for {
		n, err := from.Read(buffer)
		if n > 0 && k.is() != deaf {
			if _, err := to.Write(buffer[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

func (k *link) is() linkMode {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.mode
}

// set changes how the link treats what passes. A stream with a hole in it is
// no MQTT, so what was deaf is cut when it opens again.
func (k *link) set(m linkMode) {
	k.mu.Lock()
	defer k.mu.Unlock()
	holed := k.mode == linkDeafUp || k.mode == linkDeafDown
	k.mode = m
	if m == linkShut || m == linkOpen && holed {
		for c := range k.conns {
			_ = c.Close()
		}
	}
}

func (k *link) close() error {
	k.set(linkShut)
	err := k.listener.Close()
	k.all.Wait()
	if err != nil {
		return fmt.Errorf("link: %w", err)
	}
	return nil
}
