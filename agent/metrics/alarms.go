package metrics

import (
	"maps"
	"slices"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"weepd/agent"
	"weepd/rules/alarm"
)

// alarmSeries are the series of a snapshot's alarms. They are more than half of all,
// and at most scrapes the same as at the one before.
type alarmSeries struct {
	of     []agent.Alarm // which a snapshot shares with the one before it if nothing changed
	series []prometheus.Metric
}

func (c *collector) alarmsOf(s *agent.Snapshot) []prometheus.Metric {
	made := c.alarms.Load()
	if made == nil || !same(made.of, s.Alarms) {
		made = &alarmSeries{s.Alarms, c.makeAlarms(s.Alarms)}
		c.alarms.Store(made)
	}
	return made.series
}

func same(a, b []agent.Alarm) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0])
}

func (c *collector) makeAlarms(alarms []agent.Alarm) (series []prometheus.Metric) {
	out := sink{func(m prometheus.Metric) { series = append(series, written(m)) }}
	lives := make(map[alarm.State]int)
	for _, a := range alarms {
		out.gauge(c.d.active, bit(a.Active()), a.Gland, a.Condition, a.Priority)
		out.gauge(c.d.life, float64(a.Life()), a.Gland, a.Condition, a.Priority)
		lives[a.Life()]++
	}
	words := make(map[string]int) // both latched states have one
	for state := range alarm.States {
		words[state.String()] += lives[state]
	}
	for _, word := range slices.Sorted(maps.Keys(words)) {
		out.gauge(c.d.lives, float64(words[word]), word)
	}
	return series
}

// writtenMetric is a metric that has been written once, for all who read it.
type writtenMetric struct {
	desc *prometheus.Desc
	as   *dto.Metric
}

func written(m prometheus.Metric) prometheus.Metric {
	as := new(dto.Metric)
	if m.Write(as) != nil {
		return m // which will say why
	}
	return writtenMetric{m.Desc(), as}
}

// Desc implements prometheus.Metric.
func (w writtenMetric) Desc() *prometheus.Desc { return w.desc }

// Write implements prometheus.Metric.
func (w writtenMetric) Write(out *dto.Metric) error {
	out.Label, out.Gauge, out.Counter = w.as.GetLabel(), w.as.GetGauge(), w.as.GetCounter()
	return nil
}
