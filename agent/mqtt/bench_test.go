package mqtt

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"go.uber.org/goleak"

	"weepd/agent"
	"weepd/rules"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const patience = 20 * time.Second

func eventually(t *testing.T, what string, holds func() bool) {
	t.Helper()
	for until := time.Now().Add(patience); time.Now().Before(until); time.Sleep(5 * time.Millisecond) {
		if holds() {
			return
		}
	}
	t.Fatalf("%s: not within %s", what, patience)
}

// inbox is what a subscriber saw.
type inbox struct {
	mu       sync.Mutex
	messages []packets.Packet
}

func (b *inbox) take(_ *mochi.Client, _ packets.Subscription, pk packets.Packet) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.messages = append(b.messages, pk)
}

func (b *inbox) on(topic string) (payloads []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, pk := range b.messages {
		if pk.TopicName == topic {
			payloads = append(payloads, string(pk.Payload))
		}
	}
	return payloads
}

func (b *inbox) topics() (topics []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, pk := range b.messages {
		topics = append(topics, pk.TopicName)
	}
	return topics
}

// eventSeqs gives the seq of each message on `event` and its first deliveries.
func (b *inbox) eventSeqs(t *testing.T) (first []uint64) {
	seen := make(map[uint64]bool)
	for _, payload := range b.on("weepd/quarry/event") {
		var e agent.Event
		if err := json.Unmarshal([]byte(payload), &e); err != nil {
			t.Fatal(err)
		}
		if !seen[e.Seq] {
			seen[e.Seq] = true
			first = append(first, e.Seq)
		}
	}
	return first
}

// anybody lets every client in.
type anybody struct{ mochi.HookBase }

func (anybody) ID() string { return "anybody" }
func (anybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}
func (anybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (anybody) OnACLCheck(*mochi.Client, string, bool) bool              { return true }

func startBroker(t *testing.T, address string) (*mochi.Server, string, *inbox) {
	t.Helper()
	server := mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)})
	if err := server.AddHook(new(anybody), nil); err != nil {
		t.Fatal(err)
	}
	listener := listeners.NewTCP(listeners.Config{ID: "t", Address: address})
	if err := server.AddListener(listener); err != nil {
		t.Fatal(err)
	}
	box := &inbox{}
	if err := server.Serve(); err != nil {
		t.Fatal(err)
	}
	if err := server.Subscribe("#", 1, box.take); err != nil {
		t.Fatal(err)
	}
	return server, listener.Address(), box
}

func closeBroker(t *testing.T, server *mochi.Server) {
	t.Helper()
	if err := server.Close(); err != nil {
		t.Error(err)
	}
}

// fakeBoard holds a snapshot that tests change.
type fakeBoard struct {
	mu      sync.Mutex
	latest  *agent.Snapshot
	changed chan struct{}
	urgent  chan agent.Urgent
}

func newFakeBoard() *fakeBoard {
	s := &agent.Snapshot{Station: "quarry", Time: time.Unix(1e9, 0), Started: time.Unix(1e9, 0)}
	s.Glands = []agent.Gland{{GlandInfo: agent.GlandInfo{Rules: rules.GlandConfig{ID: "p1"}}}}
	for c := range rules.Conditions {
		s.Alarms = append(s.Alarms, agent.Alarm{Gland: "p1", Condition: c.String(), State: agent.StateCleared, Priority: c.Priority().String()})
	}
	return &fakeBoard{latest: s, changed: make(chan struct{}), urgent: make(chan agent.Urgent)}
}

func (b *fakeBoard) Latest() *agent.Snapshot { b.mu.Lock(); defer b.mu.Unlock(); return b.latest }
func (b *fakeBoard) Changed() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.changed
}

func (b *fakeBoard) Urgent() <-chan agent.Urgent { return b.urgent }

func (b *fakeBoard) change(f func(*agent.Snapshot)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	next := *b.latest
	next.Alarms = slices.Clone(next.Alarms)
	f(&next)
	b.latest = &next
	close(b.changed)
	b.changed = make(chan struct{})
}

func commit(t *testing.T, j *agent.MemoryJournal, n int) {
	t.Helper()
	t.Helper()
	j.Commit(t.Context(), &agent.Batch{Events: make([]agent.Event, n)})
}

func publish(t *testing.T, cfg Config, board Board, outbox Outbox, log io.Writer) (p *Publisher, stop func()) {
	t.Helper()
	p = New(cfg, board, outbox, nil, slog.New(slog.NewTextHandler(log, nil)))
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	return p, func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func testConfig(address string) Config {
	return Config{Broker: "tcp://" + address, Root: "weepd/quarry", ClientID: "weepd-quarry", Version: "1"}
}
