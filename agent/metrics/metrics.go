// Package metrics gives the station to Prometheus. A reading that is not good
// has no series: absent, not zero.
package metrics

import (
	"runtime"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"weepd/agent"
	"weepd/rules/reading"
)

// Queue is the way of the readings to the loop.
type Queue interface {
	QueueLength() int
	QueueDropped() uint64
}

// Outbox is where events wait for the broker.
type Outbox interface {
	OutboxPending() int
	OutboxDropped() uint64
}

// Store is what is on the disk.
type Store interface {
	// StoreBytes gives what the store's files take and may take; false while
	// they cannot be read.
	StoreBytes() (used, bound int64, ok bool)
	// HistoryDropped counts the readings lost to the history.
	HistoryDropped() uint64
}

// Publisher delivers events.
type Publisher interface {
	OutboxSent() uint64
	Connected() bool
}

// Parts are what is measured. Publisher, or what it gives, may be nil: nothing is
// published at present.
// Store may be nil: nothing is kept on a disk.
type Parts struct {
	Latest    func() *agent.Snapshot
	Queue     Queue
	Outbox    Outbox
	Publisher func() Publisher
	Writer    func() Writer // as Publisher
	Store     Store
	Version   string
	// Certificates gives when certificates end, by their key in the
	// configuration. It may be nil.
	Certificates func() map[string]time.Time
}

// Writer pushes metrics to a receiver of remote write.
type Writer interface {
	Pending() int
	Sent() uint64
	Dropped() (refused, expired, full uint64)
}

// named are the series by what describes them.
type named map[*prometheus.Desc]family

type family struct{ name, help string }

func (n named) desc(name, help string, labels ...string) *prometheus.Desc {
	d := prometheus.NewDesc(name, help, labels, nil)
	n[d] = family{name, help}
	return d
}

type descs struct {
	drops, dpm, temp, rise, running    *prometheus.Desc
	active, transitions, faults        *prometheus.Desc
	life, lives                        *prometheus.Desc
	pending, sent, dropped, connected  *prometheus.Desc
	written, unwritten, givenUp        *prometheus.Desc
	queueLength, queueDropped, unsaved *prometheus.Desc
	failing, aside, bytes, bound, lost *prometheus.Desc
	build                              *prometheus.Desc
}

func newDescs(n named) descs {
	desc := n.desc
	return descs{
		drops:   desc("weepd_gland_drops_total", "Drops counted since the agent started; absent while the drip sensor is not to be believed.", "gland"),
		dpm:     desc("weepd_gland_drops_per_minute", "Weep of the gland, drops per minute.", "gland"),
		temp:    desc("weepd_gland_temperature_celsius", "Temperature of the gland.", "gland"),
		rise:    desc("weepd_gland_temperature_rise_celsius", "Rise of the gland's temperature over its reference.", "gland"),
		running: desc("weepd_gland_running", "1 while the shaft turns, 0 at rest.", "gland"),
		active:  desc("weepd_alarm_active", "1 while the condition holds, whatever people did about the alarm; see weepd_alarm_state.", "gland", "condition", "priority"),
		life: desc("weepd_alarm_state", "Where the alarm stands in its life (IEC 62682): 0 normal, 1 unacknowledged, 2 acknowledged, 3 returned unacknowledged, "+
			"4 latched unacknowledged, 5 latched acknowledged, 6 shelved, 7 suppressed, 8 out of service.", "gland", "condition", "priority"),
		lives:        desc("weepd_alarms", "Alarms in each state of their life.", "state"),
		transitions:  desc("weepd_alarm_transitions_total", "Changes of alarms since the agent started, by the state they changed to.", "gland", "condition", "state"),
		faults:       desc("weepd_sensor_faults_total", "Times a sensor's reading turned bad since the agent started.", "gland", "point", "quality"),
		pending:      desc("weepd_outbox_pending", "Events that the broker has not acknowledged yet."),
		sent:         desc("weepd_outbox_sent_total", "Events that the broker has acknowledged since the agent started."),
		dropped:      desc("weepd_outbox_dropped_total", "Events lost undelivered because the outbox was full."),
		written:      desc("weepd_remote_write_sent_total", "Moments whose samples the receiver of remote write has taken since the agent started."),
		unwritten:    desc("weepd_remote_write_pending", "Moments whose samples wait for the receiver of remote write."),
		givenUp:      desc("weepd_remote_write_dropped_total", "Moments whose samples were given up: refused by the receiver, too old for it, or without room on the disk.", "reason"),
		connected:    desc("weepd_broker_connected", "1 while there is a connection to the broker."),
		queueLength:  desc("weepd_queue_length", "Readings on their way from the sources to the loop."),
		queueDropped: desc("weepd_queue_dropped_total", "Readings lost because the queue was full."),
		unsaved:      desc("weepd_journal_waiting", "Events that wait in memory because the store fails."),
		failing:      desc("weepd_store_failing", "1 while events cannot be stored."),
		aside:        desc("weepd_store_set_aside_total", "Damaged files of the store that were set aside since the agent started."),
		bytes:        desc("weepd_store_bytes", "What the store's files take on the disk."),
		bound:        desc("weepd_store_bound_bytes", "What the store's files may take on the disk."),
		lost:         desc("weepd_history_dropped_total", "Readings lost to the history because it could not be written."),
		build:        desc("weepd_build_info", "The agent's version; always 1.", "version", "goversion"),
	}
}

type collector struct {
	parts  Parts
	d      descs
	alarms atomic.Pointer[alarmSeries]
}

func (c *collector) collect(out sink) {
	s := c.parts.Latest()
	for _, g := range s.Glands {
		c.collectGland(out, g)
	}
	for _, m := range c.alarmsOf(s) {
		out.put(m)
	}
	for k, n := range s.Transitions {
		out.counter(c.d.transitions, float64(n), k.Gland, k.Condition, k.State)
	}
	for k, n := range s.Faults {
		out.counter(c.d.faults, float64(n), k.Point.Gland, k.Point.Kind.String(), k.Quality.String())
	}
	c.collectQueues(out, s)
	out.gauge(c.d.build, 1, c.parts.Version, runtime.Version())
}

func (c *collector) collectGland(out sink, g agent.Gland) {
	id := g.Rules.ID
	// A counter that stands still says that nothing fell; a blind sensor cannot say so.
	if g.Points[reading.Drip].Good() {
		out.counter(c.d.drops, float64(g.State.Drops), id)
	}
	if g.State.Weep.Known {
		out.gauge(c.d.dpm, g.State.Weep.DPM, id)
	}
	if g.State.TempC.Known {
		out.gauge(c.d.temp, g.State.TempC.Value, id)
	}
	if g.State.RiseC.Known {
		out.gauge(c.d.rise, g.State.RiseC.Value, id)
	}
	if g.State.Running.Known {
		out.gauge(c.d.running, bit(g.State.Running.Value != 0), id)
	}
}

func (c *collector) collectQueues(out sink, s *agent.Snapshot) {
	out.gauge(c.d.queueLength, float64(c.parts.Queue.QueueLength()))
	out.counter(c.d.queueDropped, float64(c.parts.Queue.QueueDropped()))
	out.gauge(c.d.unsaved, float64(s.Store.Waiting))
	c.collectStore(out, s)
	out.gauge(c.d.pending, float64(c.parts.Outbox.OutboxPending()))
	out.counter(c.d.dropped, float64(c.parts.Outbox.OutboxDropped()))
	sent := uint64(0)
	if c.parts.Publisher != nil {
		if p := c.parts.Publisher(); p != nil {
			sent = p.OutboxSent()
			out.gauge(c.d.connected, bit(p.Connected()))
		}
	}
	out.counter(c.d.sent, float64(sent))
	c.collectWriter(out)
}

func (c *collector) collectWriter(out sink) {
	if c.parts.Writer == nil {
		return
	}
	w := c.parts.Writer()
	if w == nil {
		return
	}
	out.gauge(c.d.unwritten, float64(w.Pending()))
	out.counter(c.d.written, float64(w.Sent()))
	refused, expired, full := w.Dropped()
	out.counter(c.d.givenUp, float64(refused), "refused")
	out.counter(c.d.givenUp, float64(expired), "too-old")
	out.counter(c.d.givenUp, float64(full), "full")
}

func (c *collector) collectStore(out sink, s *agent.Snapshot) {
	if c.parts.Store == nil {
		return
	}
	out.gauge(c.d.failing, bit(s.Store.Problem != ""))
	out.counter(c.d.aside, float64(len(s.Store.Notices)))
	out.counter(c.d.lost, float64(c.parts.Store.HistoryDropped()))
	if used, bound, ok := c.parts.Store.StoreBytes(); ok {
		out.gauge(c.d.bytes, float64(used))
		out.gauge(c.d.bound, float64(bound))
	}
}

type sink struct{ put func(prometheus.Metric) }

func (s sink) gauge(d *prometheus.Desc, v float64, labels ...string) {
	s.put(prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...))
}

func (s sink) counter(d *prometheus.Desc, v float64, labels ...string) {
	s.put(prometheus.MustNewConstMetric(d, prometheus.CounterValue, v, labels...))
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
