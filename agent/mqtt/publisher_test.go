package mqtt

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"weepd/agent"
	"weepd/rules"
)

func TestTopicsOfAConnection(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	board, journal := newFakeBoard(), agent.NewMemoryJournal(1000, true)
	commit(t, journal, 3)
	board.change(func(s *agent.Snapshot) {
		s.Alarms[rules.Leaking].State, s.Alarms[rules.Leaking].Seq = agent.StateActive, 3
	})
	p, stop := publish(t, testConfig(address), board, journal, io.Discard)
	eventually(t, "outbox empty", func() bool { return journal.OutboxPending() == 0 })
	if got := box.topics(); got[0] != "weepd/quarry/status" || got[1] != "weepd/quarry/alarm/p1/leaking" {
		t.Errorf("first topics %v, want status, then the active alarm", got[:2])
	}
	board.change(func(s *agent.Snapshot) {
		s.Alarms[rules.Dry].State, s.Alarms[rules.Dry].Seq = agent.StateActive, 4
	})
	eventually(t, "new alarm", func() bool {
		got := box.on("weepd/quarry/alarm/p1/dry")
		return len(got) == 2 && strings.Contains(got[1], `"state":"active"`)
	})
	if got := box.on("weepd/quarry/gland/p1"); len(got) != 1 || strings.Contains(got[0], "dpm") {
		t.Errorf("gland %v, want one message without the unknown dpm", got)
	}
	stop()
	eventually(t, "offline", func() bool { return len(box.on("weepd/quarry/status")) == 2 })
	status := box.on("weepd/quarry/status")
	if !strings.Contains(status[0], `"state":"online","version":"1","since":"2001-09-09T01:46:40Z"`) || !strings.Contains(status[1], `"offline"`) {
		t.Errorf("status %v", status)
	}
	if got := box.eventSeqs(t); !slices.Equal(got, []uint64{1, 2, 3}) || p.OutboxSent() != 3 {
		t.Errorf("events %v, sent %d", got, p.OutboxSent())
	}
	retained := server.Topics.Messages("weepd/quarry/#")
	if len(retained) != 1+1+int(rules.Conditions) {
		t.Errorf("%d retained messages, want status, one gland, %d alarms", len(retained), rules.Conditions)
	}
}

// A gland that is configured no more leaves no reading behind, and a refused
// configuration is told for as long as it is.
func TestChangedConfigurationIsPublished(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	board := newFakeBoard()
	_, stop := publish(t, testConfig(address), board, agent.NewMemoryJournal(10, true), io.Discard)
	eventually(t, "a reading", func() bool { return len(box.on("weepd/quarry/gland/p1")) == 1 })
	board.change(func(s *agent.Snapshot) { s.Config.Problem = "weepd.yaml:3:1: wrong" })
	eventually(t, "the problem", func() bool {
		got := box.on("weepd/quarry/status")
		return strings.Contains(got[len(got)-1], `"config":{"problem":"weepd.yaml:3:1: wrong"`)
	})
	eventually(t, "an empty reading", func() bool {
		board.change(func(s *agent.Snapshot) { s.Config, s.Glands = agent.ConfigState{}, nil })
		got := box.on("weepd/quarry/gland/p1")
		return got[len(got)-1] == ""
	})
	stop()
	eventually(t, "offline", func() bool { return len(box.on("weepd/quarry/status")) == 4 })
	status := box.on("weepd/quarry/status")
	if strings.Contains(status[2], "config") || len(server.Topics.Messages("weepd/quarry/gland/#")) != 0 {
		t.Errorf("status %v, retained %d", status, len(server.Topics.Messages("weepd/quarry/gland/#")))
	}
}

// What is urgent is sent at once, told to the loop when the broker has it, and
// not sent once more with the snapshot that has it too.
func TestUrgentAlarmsAreSentOnceAndAheadOfTheSnapshot(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	board, journal := newFakeBoard(), agent.NewMemoryJournal(1000, true)
	_, stop := publish(t, testConfig(address), board, journal, io.Discard)
	defer stop()
	const topic = "weepd/quarry/alarm/p1/dry"
	eventually(t, "first state", func() bool { return len(box.on(topic)) == 1 })
	dry := board.Latest().Alarms[rules.Dry]
	dry.State = agent.StateActive
	urgent, sent := agent.NewUrgent(dry)
	board.urgent <- urgent
	<-sent // the broker has it, and may yet be handing it on
	eventually(t, "the urgent state", func() bool { return len(box.on(topic)) == 2 })
	if got := box.on(topic); !strings.Contains(got[1], `"state":"active"`) {
		t.Fatalf("what was urgent: %v", got)
	}
	board.change(func(s *agent.Snapshot) { s.Alarms[rules.Dry] = dry })
	commit(t, journal, 1) // and something after it
	board.change(func(s *agent.Snapshot) { s.Seq = 1 })
	eventually(t, "event", func() bool { return len(box.on("weepd/quarry/event")) == 1 })
	if got := box.on(topic); len(got) != 2 {
		t.Errorf("%d messages, want it not sent again: %v", len(got), got)
	}
}

// The broker is stopped and started again in the middle of a backlog: every
// event arrives, first deliveries in order.
func TestEventsSurviveBrokersRestart(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	board, journal := newFakeBoard(), agent.NewMemoryJournal(10000, true)
	commit(t, journal, 500)
	_, stop := publish(t, testConfig(address), board, journal, io.Discard)
	eventually(t, "some arrived", func() bool { return len(box.on("weepd/quarry/event")) > 50 })
	closeBroker(t, server)
	commit(t, journal, 500)
	second, _, box2 := startBroker(t, address)
	defer closeBroker(t, second)
	eventually(t, "all delivered", func() bool { return journal.OutboxPending() == 0 })
	stop()
	seen := box.eventSeqs(t)
	for _, seq := range box2.eventSeqs(t) {
		if seq > uint64(len(seen)) {
			seen = append(seen, seq)
		}
	}
	for i, seq := range seen {
		if seq != uint64(i+1) {
			t.Fatalf("event %d is seq %d: lost or out of order", i, seq)
		}
	}
	if len(seen) != 1000 {
		t.Errorf("%d events arrived, want 1000", len(seen))
	}
}

// withholder swallows acknowledgements and cuts the link after some messages.
type withholder struct {
	listener net.Listener
	target   string
	after    int
	cuts     int
	wait     sync.WaitGroup
}

func newWithholder(t *testing.T, target string, after, cuts int) *withholder {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // a listener of the test
	if err != nil {
		t.Fatal(err)
	}
	w := &withholder{listener: l, target: target, after: after, cuts: cuts}
	w.wait.Go(w.serve)
	return w
}

func (w *withholder) serve() {
	for n := 0; ; n++ {
		in, err := w.listener.Accept()
		if err != nil {
			return
		}
		w.wait.Go(func() { w.relay(in, n < w.cuts) })
	}
}

// relay passes bytes; while cutting, only the first bytes of the broker come
// back, so that the client's messages arrive and their acknowledgements do not.
func (w *withholder) relay(in net.Conn, cutting bool) {
	out, err := net.Dial("tcp", w.target) //nolint:noctx // ends with the relay
	if err != nil {
		_ = in.Close()
		return
	}
	w.wait.Go(func() {
		_, _ = io.Copy(out, in)
		_ = out.Close()
		_ = in.Close()
	})
	back := io.Reader(out)
	if cutting {
		back = io.LimitReader(out, int64(w.after))
	}
	_, _ = io.Copy(in, back)
	if cutting {
		time.Sleep(200 * time.Millisecond)
	}
	_ = in.Close()
	_ = out.Close()
}

// An event whose acknowledgement is lost with the link is sent again, not taken
// for delivered: the library completes such tokens, see its pitfalls.
func TestNothingIsDeletedWithoutAcknowledgement(t *testing.T) {
	server, address, box := startBroker(t, "127.0.0.1:0")
	defer closeBroker(t, server)
	const connackAndAFewAcks = 4 + 4*20
	relay := newWithholder(t, address, connackAndAFewAcks, 3)
	board, journal := newFakeBoard(), agent.NewMemoryJournal(10000, true)
	commit(t, journal, 300)
	p, stop := publish(t, testConfig(relay.listener.Addr().String()), board, journal, io.Discard)
	eventually(t, "all delivered", func() bool { return journal.OutboxPending() == 0 })
	stop()
	_ = relay.listener.Close()
	relay.wait.Wait()
	got := box.eventSeqs(t)
	if len(got) != 300 || !slices.IsSorted(got) {
		t.Errorf("%d events, sorted %v, want 300 in order", len(got), slices.IsSorted(got))
	}
	if all := len(box.on("weepd/quarry/event")); all <= 300 {
		t.Errorf("%d messages: nothing was sent again, so the links were not cut", all)
	}
	if p.OutboxSent() != 300 {
		t.Errorf("sent %d, want 300", p.OutboxSent())
	}
}

type logBook struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *logBook) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}
func (b *logBook) String() string { b.mu.Lock(); defer b.mu.Unlock(); return b.text.String() }

func TestUnreachableBrokerIsLoggedOnceAndClearly(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // only to find a free port
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_ = l.Close()
	log := &logBook{}
	_, stop := publish(t, testConfig(address), newFakeBoard(), agent.NewMemoryJournal(1, true), log)
	want := fmt.Sprintf("broker tcp://%s: nothing listens there; check mqtt.broker and that the broker runs", address)
	eventually(t, "log line", func() bool { return strings.Contains(log.String(), want) })
	time.Sleep(2500 * time.Millisecond) // two more tries
	stop()
	if n := strings.Count(log.String(), "\n"); n != 1 {
		t.Errorf("%d log lines, want 1:\n%s", n, log)
	}
}

// Problems that take turns, or name another port each time, do not fill the log.
func TestProblemsAreLoggedOnceUntilConnected(t *testing.T) {
	var log strings.Builder
	p := New(Config{Broker: "tcp://broker:1883"}, nil, nil, nil, slog.New(slog.NewTextHandler(&log, nil)))
	said := func() int { return strings.Count(log.String(), "not connected") }
	for range 20 {
		p.report(io.EOF)
		p.report(syscall.ECONNREFUSED)
	}
	if n := said(); n != 2 {
		t.Errorf("two problems in turns were said %d times", n)
	}
	for i := range 100 {
		p.report(fmt.Errorf("read from port %d: reset", i))
	}
	if n := said(); n != problemsMost {
		t.Errorf("said %d problems, want at most %d", n, problemsMost)
	}
	clear(p.problems) // as a connection does
	p.report(io.EOF)
	if n := said(); n != problemsMost+1 {
		t.Error("not said again after a connection")
	}
}
