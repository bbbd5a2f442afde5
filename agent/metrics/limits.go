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

func newLimits(n named, latest func() *agent.Snapshot) limits {
	return limits{
		latest,
		n.desc("weepd_gland_dry_limit_drops_per_minute", "Least weep that cools and lubricates: limits.dry_dpm in force.", "gland"),
		n.desc("weepd_gland_leak_limit_drops_per_minute", "Most weep allowed: limits.leak_dpm in force.", "gland"),
		n.desc("weepd_gland_rise_limit_celsius", "Most rise over the reference: limits.rise_c in force.", "gland"),
	}
}

func (c limits) collect(out sink) {
	for _, g := range c.latest().Glands {
		l := g.Rules.Limits
		out.gauge(c.dry, l.DryDPM, g.Rules.ID)
		out.gauge(c.leak, l.LeakDPM, g.Rules.ID)
		out.gauge(c.rise, l.RiseC, g.Rules.ID)
	}
}
