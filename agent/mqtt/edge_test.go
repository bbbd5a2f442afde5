package mqtt

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
	"weepd/rules"
	"weepd/rules/reading"
)

// journalled commits alarm events of p1 at a time.
func (r *edgeRun) journalled(n int, at time.Time) {
	r.t.Helper()
	var list []agent.Event
	for range n {
		list = append(list, agent.Event{Time: at, Kind: agent.EventAlarm, Gland: "p1", Condition: "dry", State: agent.StateActive, Message: "It is dry."})
	}
	r.journal.Commit(r.t.Context(), &agent.Batch{Events: list})
	newest := uint64(0)
	if events, err := r.journal.Events(r.t.Context(), 0, 1<<20); err == nil && len(events) > 0 {
		newest = events[len(events)-1].Seq
	}
	r.board.change(func(s *agent.Snapshot) { s.Seq = newest })
}

func (r *edgeRun) delivered() {
	r.t.Helper()
	eventually(r.t, "outbox empty", func() bool { return r.journal.OutboxPending() == 0 })
}

// events gives the events that arrived, and whether each was historical.
func (r *edgeRun) events() (seqs []uint64, historical []bool) {
	r.t.Helper()
	for _, m := range values(r.t, r.box.node(r.t), "", eventMetric) {
		var e agent.Event
		if err := json.Unmarshal([]byte(m.Value.(string)), &e); err != nil {
			r.t.Fatal(err)
		}
		seqs, historical = append(seqs, e.Seq), append(historical, m.Historical)
	}
	return seqs, historical
}

func (r *edgeRun) gland(change func(*agent.Gland)) {
	r.board.change(func(s *agent.Snapshot) {
		s.Glands = slices.Clone(s.Glands)
		change(&s.Glands[0])
	})
}

// shown waits, and shows a snapshot now and then as the agent does.
func (r *edgeRun) shown(what string, holds func() bool) {
	r.t.Helper()
	eventually(r.t, what, func() bool {
		r.board.change(func(*agent.Snapshot) {})
		return holds()
	})
}

func TestEdgeConnectsWithItsDeathAsWill(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	r.checkConnection()
	r.stop()
	list := r.box.node(t)
	check(t, list)
	if birth := list[0]; birth.kind != sparkplug.NBirth || birth.metric("bdSeq").Value != int64(0) {
		t.Errorf("first message %+v", birth)
	}
	birth := list[1]
	if birth.topic != "spBv1.0/north/DBIRTH/quarry/p1" {
		t.Errorf("second message %+v", birth)
	}
	for name, want := range map[string]any{"dpm": nil, "quality": "good", "alarm/dry": "cleared", "alarm/dry/life": "normal"} {
		if m := birth.metric(name); m == nil || m.Value != want {
			t.Errorf("%s is %+v, want %v", name, m, want)
		}
	}
	if retained := r.server.Topics.Messages("spBv1.0/#"); len(retained) > 0 {
		t.Errorf("%d messages are retained", len(retained))
	}
}

// checkConnection looks at the CONNECT and the subscription of the first
// connection.
func (r *edgeRun) checkConnection() {
	r.t.Helper()
	will, found := r.will()
	client, _ := r.server.Clients.Get("weepd-quarry")
	if !found || !client.Properties.Clean {
		r.t.Fatalf("will %v, clean session %v", found, client.Properties.Clean)
	}
	p, err := sparkplug.Decode(will.Payload)
	if err != nil || will.TopicName != "spBv1.0/north/NDEATH/quarry" || will.FixedHeader.Qos != 1 || will.FixedHeader.Retain {
		r.t.Errorf("will on %s, %+v, %v", will.TopicName, will.FixedHeader, err)
	}
	if m := p.Metrics[0]; len(p.Metrics) != 1 || m.Name != "bdSeq" || m.Datatype != sparkplug.Int64 || m.Value != int64(0) || p.Seq != nil {
		r.t.Errorf("will %+v", p)
	}
	sub, subscribed := client.State.Subscriptions.Get("spBv1.0/north/NCMD/quarry")
	if !subscribed || sub.Qos != 1 {
		r.t.Errorf("subscription to NCMD: %v, %+v", subscribed, sub)
	}
}

// The node says goodbye once, before it disconnects: the broker does not say it
// a second time.
func TestEdgeStopsWithItsDeath(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	r.stop()
	eventually(t, "gone", func() bool { c, found := r.server.Clients.Get("weepd-quarry"); return !found || c.Closed() })
	deaths := r.box.kinds(t, sparkplug.NDeath)
	if len(deaths) != 1 || deaths[0].payload.Metrics[0].Value != int64(0) {
		t.Errorf("deaths %+v", deaths)
	}
	check(t, r.box.node(t))
}

func TestEdgeNumbersWrap(t *testing.T) {
	r := startEdge(t, "")
	r.journalled(300, time.Now().Add(-time.Hour))
	r.start()
	r.delivered()
	r.stop()
	list := r.box.node(t)
	check(t, list)
	if len(list) < 600 { // an event and its alarm each
		t.Errorf("%d messages, want some more than 600", len(list))
	}
}

// bdSeq counts connections, from 0, and starts again after 255.
func TestEdgeCountsConnections(t *testing.T) {
	p := New(edgeConfig("127.0.0.1:1"), newFakeBoard(), agent.NewMemoryJournal(1, true), nil, slog.New(slog.DiscardHandler))
	for i := range 600 {
		topic, payload := p.nodeDeath()
		got, err := sparkplug.Decode(payload)
		if err != nil || got.Metrics[0].Value != int64(i%256) || topic != "spBv1.0/north/NDEATH/quarry" {
			t.Fatalf("connection %d: %s %+v %v", i, topic, got, err)
		}
		if e := newEdge(p, nil, nil); e.bdSeq != int64(i%256) {
			t.Fatalf("connection %d: the birth has bdSeq %d", i, e.bdSeq)
		}
	}
}

// A lost connection: the broker tells of the death, and the next birth has the
// next bdSeq. Nothing that was not read is lost.
func TestEdgeConnectionIsLost(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	client, _ := r.server.Clients.Get("weepd-quarry")
	client.Stop(fmt.Errorf("cut"))
	r.journalled(50, time.Now())
	r.delivered()
	r.stop()
	eventually(t, "both deaths", func() bool { return len(r.box.kinds(t, sparkplug.NDeath)) == 2 })
	list := r.box.node(t)
	check(t, list)
	births, deaths := r.box.kinds(t, sparkplug.NBirth), r.box.kinds(t, sparkplug.NDeath)
	if len(births) != 2 || births[1].metric("bdSeq").Value != int64(1) || len(deaths) != 2 || deaths[0].payload.Metrics[0].Value != int64(0) {
		t.Errorf("births %+v\ndeaths %+v", births, deaths)
	}
	if seqs, historical := r.events(); len(seqs) != 50 || !slices.IsSorted(seqs) || !historical[0] {
		t.Errorf("events %v, historical %v", seqs, historical)
	}
}

func TestEdgeRebirth(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	r.command(sparkplug.Metric{Name: rebirthMetric, Value: false}, sparkplug.Metric{Name: "Node Control/Reboot", Value: true})
	r.send("spBv1.0/north/NCMD/quarry", []byte("nonsense"), false)
	r.command(sparkplug.Metric{Name: rebirthMetric, Datatype: sparkplug.Boolean, Value: true})
	r.awaitBirth(2)
	r.journalled(1, time.Now())
	r.delivered()
	r.stop()
	list := r.box.node(t)
	check(t, list)
	births := r.box.kinds(t, sparkplug.NBirth)
	if len(births) != 2 || births[1].metric("bdSeq").Value != int64(0) || *births[1].payload.Seq != 0 {
		t.Errorf("births %+v", births)
	}
	if seqs, historical := r.events(); !slices.Equal(seqs, []uint64{1}) || historical[0] {
		t.Errorf("an event after the rebirth: %v, historical %v", seqs, historical)
	}
}

func TestEdgeWaitsForItsPrimaryHost(t *testing.T) {
	r := startEdge(t, "control")
	r.state("control", false, 5000)
	r.journalled(3, time.Now())
	r.start()
	eventually(t, "subscribed", func() bool {
		c, found := r.server.Clients.Get("weepd-quarry")
		if !found {
			return false
		}
		sub, subscribed := c.State.Subscriptions.Get("spBv1.0/STATE/control")
		return subscribed && sub.Qos == 1
	})
	r.state("other", true, 9000)
	r.state("control", true, 4000) // of an old session
	r.send(sparkplug.StateTopic("control"), []byte("ONLINE"), false)
	time.Sleep(200 * time.Millisecond)
	if list := r.box.node(t); len(list) != 0 || r.journal.OutboxPending() != 3 {
		t.Fatalf("before the host is there: %+v, %d events wait", list, r.journal.OutboxPending())
	}
	r.state("control", true, 6000)
	r.delivered()
	if _, historical := r.events(); !slices.Equal(historical, []bool{true, true, true}) {
		t.Errorf("what waited is historical: %v", historical)
	}
	r.state("control", false, 5500) // older: ignored
	time.Sleep(200 * time.Millisecond)
	if deaths := r.box.kinds(t, sparkplug.NDeath); len(deaths) != 0 {
		t.Fatalf("died by an old state: %+v", deaths)
	}
	r.state("control", false, 6000) // the last will: as old as the birth
	eventually(t, "death", func() bool { return len(r.box.kinds(t, sparkplug.NDeath)) == 1 })
	r.journalled(2, time.Now())
	time.Sleep(1500 * time.Millisecond) // it has connected again and waits
	if r.journal.OutboxPending() != 2 || len(r.box.kinds(t, sparkplug.NBirth)) != 1 {
		t.Errorf("without a host %d events wait, births %d", r.journal.OutboxPending(), len(r.box.kinds(t, sparkplug.NBirth)))
	}
	r.state("control", true, 7000)
	r.delivered()
	r.stop()
	check(t, r.box.node(t))
	if births := r.box.kinds(t, sparkplug.NBirth); len(births) != 2 || births[1].metric("bdSeq").Value != int64(1) {
		t.Errorf("births %+v", births)
	}
	if seqs, _ := r.events(); !slices.Equal(seqs, []uint64{1, 2, 3, 4, 5}) {
		t.Errorf("events %v", seqs)
	}
}

// What waited comes in order with its own time, marked as historical, for the
// node's journal and the gland's alarm; what happens later is live.
func TestEdgeStoresAndForwards(t *testing.T) {
	r := startEdge(t, "")
	before := time.Now().Add(-time.Hour).Truncate(time.Millisecond)
	r.journalled(150, before)
	r.start()
	r.delivered()
	r.journalled(1, time.Now())
	r.delivered()
	r.stop()
	list := r.box.node(t)
	check(t, list)
	seqs, historical := r.events()
	if len(seqs) != 151 || !slices.IsSorted(seqs) || slices.Contains(historical[:150], false) || historical[150] {
		t.Errorf("events %v, historical %v", seqs, historical)
	}
	past := values(t, list, "p1", "alarm/dry")
	if len(past) != 150 || !past[0].Historical || !past[0].Time.Equal(before) || past[0].Value != "active" {
		t.Errorf("%d past alarms, first %+v", len(past), past[0])
	}
	if r.p.OutboxSent() != 151 {
		t.Errorf("%d events counted as sent", r.p.OutboxSent())
	}
}

func TestEdgeReportsByException(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	set := func(dpm, temp float64) {
		r.gland(func(g *agent.Gland) {
			g.State.Weep = rules.Weep{DPM: dpm, LowDPM: dpm - 1, HighDPM: dpm + 1, Known: true}
			g.State.TempC = rules.Quantity{Value: temp, Known: true}
		})
	}
	set(30, 50)
	r.shown("first", func() bool { return len(r.box.kinds(t, sparkplug.DData)) == 1 })
	set(30.5, 50.2) // within the deadbands
	time.Sleep(1100 * time.Millisecond)
	set(40, 50.2)
	r.shown("second", func() bool { return len(r.box.kinds(t, sparkplug.DData)) == 2 })
	r.board.change(func(s *agent.Snapshot) { s.Alarms[rules.Dry].State = agent.StateActive })
	r.board.change(func(s *agent.Snapshot) { s.Alarms[len(s.Alarms)-1].State = agent.StateActive })
	eventually(t, "alarms", func() bool {
		return len(r.box.kinds(t, sparkplug.DData)) == 3 && len(r.box.kinds(t, sparkplug.NData)) == 1
	})
	time.Sleep(1100 * time.Millisecond)
	r.stop()
	list := r.box.node(t)
	check(t, list)
	if got := r.box.kinds(t, sparkplug.DData); len(got) != 3 || len(got[0].payload.Metrics) != 4 || len(got[2].payload.Metrics) != 1 {
		t.Errorf("data %+v", got)
	}
	for name, want := range map[string][]any{"dpm": {30.0, 40.0}, "temp_c": {50.0, 50.2}, "alarm/dry": {"active"}, "quality": nil} {
		var got []any
		for _, m := range values(t, list, "p1", name) {
			got = append(got, m.Value)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	if got := values(t, list, "", "alarm/power-up/drip-sensor"); len(got) != 1 || got[0].Value != "active" {
		t.Errorf("alarm of a shared cause: %+v", got)
	}
}

// A gland none of whose sensors answers dies, and is born again when one does.
func TestEdgeDeviceDies(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	r.gland(func(g *agent.Gland) {
		g.Points[reading.Drip] = agent.PointState{Seen: true, Quality: reading.NoAnswer}
		g.State.Quality = reading.NoAnswer
	})
	r.shown("death", func() bool { return len(r.box.kinds(t, sparkplug.DDeath)) == 1 })
	r.board.change(func(s *agent.Snapshot) { s.Alarms[rules.DripSensor].State = agent.StateActive })
	r.journalled(1, time.Now()) // the journal goes on
	r.delivered()
	r.gland(func(g *agent.Gland) {
		g.Points[reading.Drip] = agent.PointState{Seen: true}
		g.State.Quality = reading.Good
	})
	r.shown("birth", func() bool { return len(r.box.kinds(t, sparkplug.DBirth)) == 2 })
	r.stop()
	list := r.box.node(t)
	check(t, list)
	again := r.box.kinds(t, sparkplug.DBirth)[1]
	if again.metric("quality").Value != "good" || again.metric("alarm/drip-sensor").Value != "active" {
		t.Errorf("born again %+v", again)
	}
	if data := r.box.kinds(t, sparkplug.DData); len(data) != 0 {
		t.Errorf("data of a dead device: %+v", data)
	}
}

// A gland that a changed configuration takes out dies, and the node is born again
// with one that it adds.
func TestEdgeGetsOtherDevices(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	old := r.board.Latest().Glands[0].Rules.ID
	r.gland(func(g *agent.Gland) { g.Rules.ID = "p9" })
	r.shown("birth", func() bool { return len(r.box.kinds(t, sparkplug.NBirth)) == 2 })
	r.stop()
	check(t, r.box.node(t))
	deaths, births := r.box.kinds(t, sparkplug.DDeath), r.box.kinds(t, sparkplug.DBirth)
	if len(deaths) != 1 || deaths[0].device != old || births[len(births)-1].device != "p9" {
		t.Errorf("deaths %+v, births %+v", deaths, births)
	}
}

func TestEdgeTakesCommands(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	command := r.box.kinds(t, sparkplug.NBirth)[0].metric(commandMetric)
	r.command(sparkplug.Metric{Name: commandMetric, Value: `{"id":"c1","action":"acknowledge","gland":"p1","condition":"dry","by":"M. Weaver"}`})
	r.command(sparkplug.Metric{Alias: command.Alias, Value: `{"id":"c2","action":"acknowledge","gland":"p1","condition":"dry"}`})
	eventually(t, "replies", func() bool { return len(values(t, r.box.node(t), "", replyMetric)) == 2 })
	r.stop()
	check(t, r.box.node(t))
	got := values(t, r.box.node(t), "", replyMetric)
	if got[0].Value != `{"id":"c1","ok":true}` || !strings.Contains(got[1].Value.(string), `"id":"c2","ok":false`) {
		t.Errorf("replies %+v", got)
	}
}

// What is urgent is sent at once and not again with the snapshot.
func TestEdgeSendsUrgentAlarms(t *testing.T) {
	r := startEdge(t, "").start()
	r.awaitBirth(1)
	dry := r.board.Latest().Alarms[rules.Dry]
	dry.State = agent.StateActive
	urgent, sent := agent.NewUrgent(dry)
	r.board.urgent <- urgent
	<-sent
	r.board.change(func(s *agent.Snapshot) { s.Alarms[rules.Dry] = dry })
	r.journalled(1, time.Now())
	r.delivered()
	r.stop()
	check(t, r.box.node(t))
	if got := values(t, r.box.node(t), "p1", "alarm/dry"); len(got) != 1 || got[0].Value != "active" || got[0].Historical {
		t.Errorf("alarm %+v", got)
	}
}

// Device ids are those of glands, which a configuration cannot have twice
// (testdata/configs/duplicate-id.yaml); each is born once.
func TestEdgeIDsAreUnique(t *testing.T) {
	r := startEdge(t, "")
	r.board.change(func(s *agent.Snapshot) {
		second := s.Glands[0]
		second.Rules.ID = "p2"
		s.Glands = append(slices.Clone(s.Glands), second)
	})
	r.start()
	r.awaitBirth(2)
	r.stop()
	list := r.box.node(t)
	check(t, list)
	if list[1].device != "p1" || list[2].device != "p2" || list[1].metric("dpm").Alias == list[2].metric("dpm").Alias {
		t.Errorf("births of %s and %s, alias %d", list[1].device, list[2].device, list[1].metric("dpm").Alias)
	}
}
