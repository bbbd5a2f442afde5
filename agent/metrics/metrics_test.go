package metrics

import (
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"weepd/agent"
	"weepd/rules"
	"weepd/rules/reading"
)

type queues struct{}

func (queues) QueueLength() int      { return 3 }
func (queues) QueueDropped() uint64  { return 2 }
func (queues) OutboxPending() int    { return 7 }
func (queues) OutboxDropped() uint64 { return 1 }
func (queues) OutboxSent() uint64    { return 40 }
func (queues) Connected() bool       { return true }

func (queues) HistoryDropped() uint64                   { return 8 }
func (queues) StoreBytes() (used, bound int64, ok bool) { return 1000, 2000, true }

func snapshot() *agent.Snapshot {
	known := func(v float64) rules.Quantity { return rules.Quantity{Value: v, Known: true} }
	good := agent.PointState{Seen: true}
	well := agent.Gland{GlandInfo: agent.GlandInfo{Rules: rules.GlandConfig{ID: "p1"}}}
	well.State = rules.GlandState{
		ID: "p1", Drops: 12, Weep: rules.Weep{DPM: 31.5, Known: true},
		TempC: known(40), RiseC: known(21), Running: known(1),
	}
	well.Points[reading.Drip] = good
	blind := agent.Gland{GlandInfo: agent.GlandInfo{Rules: rules.GlandConfig{ID: "p2"}}}
	blind.State = rules.GlandState{ID: "p2", Drops: 99}
	blind.Points[reading.Drip] = agent.PointState{Seen: true, Quality: reading.Storm}
	return &agent.Snapshot{
		Store:  agent.Trouble{Problem: "disk full", Waiting: 6, Notices: []string{"journal.db was damaged"}},
		Glands: []agent.Gland{well, blind},
		Alarms: []agent.Alarm{
			{Gland: "p1", Condition: "dry", State: agent.StateActive, Priority: "high", AlarmState: "shelved"},
			{Gland: "p2", Condition: "leaking", State: agent.StateCleared, Priority: "medium"},
		},
		Transitions: map[agent.TransitionKey]uint64{{Gland: "p1", Condition: "dry", State: "active"}: 4},
		Faults:      map[agent.FaultKey]uint64{{Point: reading.Point{Gland: "p2", Kind: reading.Drip}, Quality: reading.Storm}: 5},
	}
}

const want = `
# HELP weepd_alarm_active 1 while the condition holds, whatever people did about the alarm; see weepd_alarm_state.
# TYPE weepd_alarm_active gauge
weepd_alarm_active{condition="dry",gland="p1",priority="high"} 1
weepd_alarm_active{condition="leaking",gland="p2",priority="medium"} 0
# HELP weepd_alarm_state Where the alarm stands in its life (IEC 62682): 0 normal, 1 unacknowledged, 2 acknowledged, 3 returned unacknowledged, 4 latched unacknowledged, 5 latched acknowledged, 6 shelved, 7 suppressed, 8 out of service.
# TYPE weepd_alarm_state gauge
weepd_alarm_state{condition="dry",gland="p1",priority="high"} 6
weepd_alarm_state{condition="leaking",gland="p2",priority="medium"} 0
# HELP weepd_alarm_transitions_total Changes of alarms since the agent started, by the state they changed to.
# TYPE weepd_alarm_transitions_total counter
weepd_alarm_transitions_total{condition="dry",gland="p1",state="active"} 4
# HELP weepd_alarms Alarms in each state of their life.
# TYPE weepd_alarms gauge
weepd_alarms{state="acknowledged"} 0
weepd_alarms{state="latched"} 0
weepd_alarms{state="normal"} 1
weepd_alarms{state="out-of-service"} 0
weepd_alarms{state="returned-unacknowledged"} 0
weepd_alarms{state="shelved"} 1
weepd_alarms{state="suppressed"} 0
weepd_alarms{state="unacknowledged"} 0
# HELP weepd_gland_drops_per_minute Weep of the gland, drops per minute.
# TYPE weepd_gland_drops_per_minute gauge
weepd_gland_drops_per_minute{gland="p1"} 31.5
# HELP weepd_gland_drops_total Drops counted since the agent started; absent while the drip sensor is not to be believed.
# TYPE weepd_gland_drops_total counter
weepd_gland_drops_total{gland="p1"} 12
# HELP weepd_gland_running 1 while the shaft turns, 0 at rest.
# TYPE weepd_gland_running gauge
weepd_gland_running{gland="p1"} 1
# HELP weepd_gland_temperature_celsius Temperature of the gland.
# TYPE weepd_gland_temperature_celsius gauge
weepd_gland_temperature_celsius{gland="p1"} 40
# HELP weepd_gland_temperature_rise_celsius Rise of the gland's temperature over its reference.
# TYPE weepd_gland_temperature_rise_celsius gauge
weepd_gland_temperature_rise_celsius{gland="p1"} 21
# HELP weepd_history_dropped_total Readings lost to the history because it could not be written.
# TYPE weepd_history_dropped_total counter
weepd_history_dropped_total 8
# HELP weepd_journal_waiting Events that wait in memory because the store fails.
# TYPE weepd_journal_waiting gauge
weepd_journal_waiting 6
# HELP weepd_outbox_pending Events that the broker has not acknowledged yet.
# TYPE weepd_outbox_pending gauge
weepd_outbox_pending 7
# HELP weepd_outbox_sent_total Events that the broker has acknowledged since the agent started.
# TYPE weepd_outbox_sent_total counter
weepd_outbox_sent_total 40
# HELP weepd_queue_dropped_total Readings lost because the queue was full.
# TYPE weepd_queue_dropped_total counter
weepd_queue_dropped_total 2
# HELP weepd_queue_length Readings on their way from the sources to the loop.
# TYPE weepd_queue_length gauge
weepd_queue_length 3
# HELP weepd_sensor_faults_total Times a sensor's reading turned bad since the agent started.
# TYPE weepd_sensor_faults_total counter
weepd_sensor_faults_total{gland="p2",point="drip",quality="storm"} 5
# HELP weepd_store_bound_bytes What the store's files may take on the disk.
# TYPE weepd_store_bound_bytes gauge
weepd_store_bound_bytes 2000
# HELP weepd_store_bytes What the store's files take on the disk.
# TYPE weepd_store_bytes gauge
weepd_store_bytes 1000
# HELP weepd_store_failing 1 while events cannot be stored.
# TYPE weepd_store_failing gauge
weepd_store_failing 1
# HELP weepd_store_set_aside_total Damaged files of the store that were set aside since the agent started.
# TYPE weepd_store_set_aside_total counter
weepd_store_set_aside_total 1
`

func TestMetrics(t *testing.T) {
	parts := Parts{Latest: snapshot, Queue: queues{}, Outbox: queues{}, Publisher: func() Publisher { return queues{} }, Store: queues{}, Version: "1.2"}
	reg, err := New(parts)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for line := range strings.Lines(want) {
		if name, ok := strings.CutPrefix(line, "# TYPE "); ok {
			names = append(names, strings.Fields(name)[0])
		}
	}
	if err := testutil.GatherAndCompare(reg, strings.NewReader(want), names...); err != nil {
		t.Error(err)
	}
	problems, err := testutil.GatherAndLint(reg)
	if err != nil || len(problems) > 0 {
		t.Errorf("lint: %v, %v", problems, err)
	}
}
