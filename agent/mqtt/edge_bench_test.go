package mqtt

import (
	"fmt"
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
	"weepd/rules/reading"
)

func edgeConfig(address string) Config {
	c := testConfig(address)
	c.Sparkplug = &Sparkplug{Group: "north", Node: "quarry"}
	return c
}

// heard is a message of the edge node as a host sees it.
type heard struct {
	topic, kind, device string
	qos                 byte
	payload             sparkplug.Payload
}

func (h heard) metric(name string) *sparkplug.Metric {
	for i := range h.payload.Metrics {
		if h.payload.Metrics[i].Name == name {
			return &h.payload.Metrics[i]
		}
	}
	return nil
}

// node gives what the edge node has sent so far.
func (b *inbox) node(t *testing.T) (list []heard) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, pk := range b.messages {
		levels := strings.Split(pk.TopicName, "/")
		if levels[0] != sparkplug.Namespace || levels[1] == "STATE" || levels[2] == sparkplug.NCmd {
			continue
		}
		if len(levels) < 4 || levels[1] != "north" || levels[3] != "quarry" {
			t.Fatalf("topic %s", pk.TopicName)
		}
		p, err := sparkplug.Decode(pk.Payload)
		if err != nil {
			t.Fatalf("%s: %v", pk.TopicName, err)
		}
		h := heard{topic: pk.TopicName, kind: levels[2], qos: pk.FixedHeader.Qos, payload: p}
		if len(levels) == 5 {
			h.device = levels[4]
		}
		list = append(list, h)
	}
	return list
}

func (b *inbox) kinds(t *testing.T, kind string) (list []heard) {
	t.Helper()
	for _, h := range b.node(t) {
		if h.kind == kind {
			list = append(list, h)
		}
	}
	return list
}

// checker holds every message of a node against what the specification asks of
// all of them.
type checker struct {
	t       *testing.T
	seq     int // of the last message; -1: none
	bdSeq   any
	born    bool
	devices map[string]bool
	data    bool                 // since the birth
	names   map[uint64]string    // by alias
	sent    map[string]time.Time // time of the newest live value of each metric
}

func check(t *testing.T, list []heard) {
	t.Helper()
	c := &checker{t: t, seq: -1}
	for i, h := range list {
		c.take(i, h)
	}
}

func (c *checker) fault(i int, h heard, format string, args ...any) {
	c.t.Helper()
	c.t.Errorf("message %d, %s: %s", i, h.topic, fmt.Sprintf(format, args...))
}

func (c *checker) take(i int, h heard) {
	c.t.Helper()
	if (h.device != "") != (h.kind[0] == 'D') {
		c.fault(i, h, "device %q", h.device)
	}
	if h.kind == sparkplug.NDeath {
		c.death(i, h)
		return
	}
	if h.qos != 0 {
		c.fault(i, h, "QoS %d, want 0", h.qos)
	}
	if age := time.Since(h.payload.Time); age < -time.Second || age > time.Minute {
		c.fault(i, h, "sent at %s", h.payload.Time)
	}
	c.number(i, h)
	switch h.kind {
	case sparkplug.NBirth:
		c.born, c.data, c.devices, c.names = true, false, make(map[string]bool), make(map[uint64]string)
		c.sent = make(map[string]time.Time)
		c.birth(i, h, true)
		c.bdSeq = h.metric("bdSeq").Value
	case sparkplug.DBirth:
		c.devices[h.device] = true
		c.birth(i, h, false)
	case sparkplug.DDeath:
		if !c.devices[h.device] {
			c.fault(i, h, "a device that was not born dies")
		}
		delete(c.devices, h.device)
	case sparkplug.NData, sparkplug.DData:
		c.data = true
		c.dataMetrics(i, h)
	default:
		c.fault(i, h, "kind %q", h.kind)
	}
}

func (c *checker) death(i int, h heard) {
	if h.payload.Seq != nil || len(h.payload.Metrics) != 1 || h.payload.Metrics[0].Name != "bdSeq" || h.qos != 1 {
		c.fault(i, h, "%+v with QoS %d", h.payload, h.qos)
	}
	if c.born && h.payload.Metrics[0].Value != c.bdSeq {
		c.fault(i, h, "bdSeq %v, the birth had %v", h.payload.Metrics[0].Value, c.bdSeq)
	}
	c.born, c.seq = false, -1
}

func (c *checker) number(i int, h heard) {
	if h.payload.Seq == nil {
		c.fault(i, h, "no seq")
		return
	}
	want := (c.seq + 1) % 256
	if h.kind == sparkplug.NBirth {
		want = 0
	} else if !c.born {
		c.fault(i, h, "before the node's birth")
	}
	if c.seq = int(*h.payload.Seq); c.seq != want {
		c.fault(i, h, "seq %d, want %d", c.seq, want)
	}
}

func (c *checker) birth(i int, h heard, node bool) {
	seen := make(map[string]bool)
	for _, m := range h.payload.Metrics {
		if m.Name == "" || m.Datatype == 0 || m.Time.IsZero() || m.Historical || seen[m.Name] {
			c.fault(i, h, "metric %+v", m)
		}
		seen[m.Name] = true
		if node && (m.Name == "bdSeq" || m.Name == rebirthMetric) {
			if m.Alias != 0 {
				c.fault(i, h, "%s has an alias", m.Name)
			}
			continue
		}
		c.alias(i, h, m)
	}
	if node {
		c.control(i, h)
	}
}

func (c *checker) alias(i int, h heard, m sparkplug.Metric) {
	name := h.device + ":" + m.Name
	if other, taken := c.names[m.Alias]; m.Alias == 0 || taken && other != name {
		c.fault(i, h, "metric %s has alias %d, which is %q", m.Name, m.Alias, other)
	}
	c.names[m.Alias] = name
}

func (c *checker) control(i int, h heard) {
	bdSeq, rebirth := h.metric("bdSeq"), h.metric(rebirthMetric)
	if bdSeq == nil || bdSeq.Datatype != sparkplug.Int64 || rebirth == nil || rebirth.Datatype != sparkplug.Boolean || rebirth.Value != false {
		c.fault(i, h, "bdSeq %+v, rebirth %+v", bdSeq, rebirth)
	}
}

func (c *checker) dataMetrics(i int, h heard) {
	if h.device != "" && !c.devices[h.device] {
		c.fault(i, h, "data of a device that is not born")
	}
	if len(h.payload.Metrics) == 0 {
		c.fault(i, h, "no metric")
	}
	for _, m := range h.payload.Metrics {
		name := c.names[m.Alias]
		if m.Name != "" || m.Datatype != 0 || m.Time.IsZero() || !strings.HasPrefix(name, h.device+":") {
			c.fault(i, h, "metric %+v is %q", m, name)
		}
		if m.Historical {
			continue
		}
		if m.Time.Before(c.sent[name]) {
			c.fault(i, h, "%s goes back in time", name)
		}
		c.sent[name] = m.Time
	}
}

// named gives the values of a metric by name that data brought.
func values(t *testing.T, list []heard, device, name string) (out []sparkplug.Metric) {
	t.Helper()
	aliases := make(map[uint64]string)
	for _, h := range list {
		for _, m := range h.payload.Metrics {
			if m.Name != "" {
				aliases[m.Alias] = h.device + ":" + m.Name
			} else if aliases[m.Alias] == device+":"+name {
				out = append(out, m)
			}
		}
	}
	return out
}

// startEdge runs an edge node at a broker of its own.
type edgeRun struct {
	t       *testing.T
	server  *mochi.Server
	address string
	box     *inbox
	board   *fakeBoard
	journal *agent.MemoryJournal
	p       *Publisher
	stop    func()
}

func startEdge(t *testing.T, host string) *edgeRun {
	t.Helper()
	server, address, box := startBroker(t, "127.0.0.1:0")
	r := &edgeRun{t: t, server: server, address: address, box: box, board: newFakeBoard(), journal: agent.NewMemoryJournal(10000, true)}
	r.board.change(func(s *agent.Snapshot) {
		s.Glands[0].Rules.Fitted[reading.Drip] = true
		s.Glands[0].Points[reading.Drip] = agent.PointState{Seen: true}
		s.Alarms = append(s.Alarms, agent.Alarm{Gland: "power-up", Condition: "drip-sensor", State: agent.StateCleared, Priority: "low"})
	})
	t.Cleanup(func() { closeBroker(t, server) })
	cfg := edgeConfig(address)
	cfg.Sparkplug.Host = host
	r.p = New(cfg, r.board, r.journal, &clerk{}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	return r
}

func (r *edgeRun) start() *edgeRun {
	r.stop = run(r.t, r.p)
	return r
}

func (r *edgeRun) awaitBirth(n int) {
	r.t.Helper()
	eventually(r.t, "births", func() bool { return len(r.box.kinds(r.t, sparkplug.DBirth)) == n })
}

func (r *edgeRun) send(topic string, payload []byte, retain bool) {
	r.t.Helper()
	if err := r.server.Publish(topic, payload, retain, 1); err != nil {
		r.t.Fatal(err)
	}
}

func (r *edgeRun) state(host string, online bool, at int64) {
	r.t.Helper()
	r.send(sparkplug.StateTopic(host), fmt.Appendf(nil, `{"online":%v,"timestamp":%d}`, online, at), true)
}

func (r *edgeRun) command(metrics ...sparkplug.Metric) {
	r.t.Helper()
	r.send("spBv1.0/north/NCMD/quarry", sparkplug.Payload{Time: time.Now(), Metrics: metrics}.Append(nil), false)
}

func (r *edgeRun) will() (packets.Packet, bool) {
	client, found := r.server.Clients.Get("weepd-quarry")
	if !found {
		return packets.Packet{}, false
	}
	w := client.Properties.Will
	return packets.Packet{TopicName: w.TopicName, Payload: w.Payload, FixedHeader: packets.FixedHeader{Qos: w.Qos, Retain: w.Retain}}, w.Flag > 0
}
