package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"weepd/agent"
)

// limits tells the limits in force, so that a fleet's glands can be ranked by
// how near they are to theirs.
type limits struct {
	latest          func() *agent.Snapshot
	dry, leak, rise *prometheus.Desc
}

func newLimits(latest func() *agent.Snapshot) limits {
	return limits{
		latest,
		desc("weepd_gland_dry_limit_drops_per_minute", "Least weep that cools and lubricates: limits.dry_dpm in force.", "gland"),
		desc("weepd_gland_leak_limit_drops_per_minute", "Most weep allowed: limits.leak_dpm in force.", "gland"),
		desc("weepd_gland_rise_limit_celsius", "Most rise over the reference: limits.rise_c in force.", "gland"),
	}
}

// Describe implements prometheus.Collector.
func (c limits) Describe(ch chan<- *prometheus.Desc) {
	ch <- c.dry
	ch <- c.leak
	ch <- c.rise
}

// Collect implements prometheus.Collector.
func (c limits) Collect(ch chan<- prometheus.Metric) {
	for _, g := range c.latest().Glands {
		out, l := into(ch), g.Rules.Limits
		out.gauge(c.dry, l.DryDPM, g.Rules.ID)
		out.gauge(c.leak, l.LeakDPM, g.Rules.ID)
		out.gauge(c.rise, l.RiseC, g.Rules.ID)
	}
}
