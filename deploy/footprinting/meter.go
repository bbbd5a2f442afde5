package main

import (
	"io"
	"net"
	"sync"
	"sync/atomic"
)

// meter is a link to the broker that counts what goes through it, both ways:
// all of MQTT, nothing of TCP and IP below it.
type meter struct {
	listener net.Listener
	target   string
	bytes    atomic.Int64
	mu       sync.Mutex
	open     []net.Conn
	all      sync.WaitGroup
}

func newMeter(target string) (*meter, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // lives as long as the run
	if err != nil {
		return nil, err
	}
	m := &meter{listener: l, target: target}
	m.all.Go(m.serve)
	return m, nil
}

func (m *meter) url() string  { return "tcp://" + m.listener.Addr().String() }
func (m *meter) count() int64 { return m.bytes.Load() }

func (m *meter) serve() {
	for {
		in, err := m.listener.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", m.target) //nolint:noctx // the listener's end ends it
		if err != nil {
			_ = in.Close()
			continue
		}
		m.mu.Lock()
		m.open = append(m.open, in, out)
		m.mu.Unlock()
		m.all.Go(func() { m.relay(in, out) })
		m.all.Go(func() { m.relay(out, in) })
	}
}

func (m *meter) relay(to, from net.Conn) {
	_, _ = io.Copy(io.MultiWriter(counting{&m.bytes}, to), from)
	_ = to.Close()
	_ = from.Close()
}

type counting struct{ n *atomic.Int64 }

func (c counting) Write(p []byte) (int, error) {
	c.n.Add(int64(len(p)))
	return len(p), nil
}

func (m *meter) close() {
	_ = m.listener.Close()
	m.mu.Lock()
	for _, c := range m.open {
		_ = c.Close()
	}
	m.mu.Unlock()
	m.all.Wait()
}
