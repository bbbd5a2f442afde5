package metrics

import (
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"

	"weepd/agent"
	"weepd/rules"
)

func TestLimits(t *testing.T) {
	s := &agent.Snapshot{Glands: []agent.Gland{{GlandInfo: agent.GlandInfo{Rules: rules.GlandConfig{
		ID: "p1-de", Limits: rules.Limits{DryDPM: 15, LeakDPM: 60, GushDPM: 200, RiseC: 25},
	}}}}}
	const want = `
# HELP weepd_gland_dry_limit_drops_per_minute Least weep that cools and lubricates: limits.dry_dpm in force.
# TYPE weepd_gland_dry_limit_drops_per_minute gauge
weepd_gland_dry_limit_drops_per_minute{gland="p1-de"} 15
# HELP weepd_gland_leak_limit_drops_per_minute Most weep allowed: limits.leak_dpm in force.
# TYPE weepd_gland_leak_limit_drops_per_minute gauge
weepd_gland_leak_limit_drops_per_minute{gland="p1-de"} 60
# HELP weepd_gland_rise_limit_celsius Most rise over the reference: limits.rise_c in force.
# TYPE weepd_gland_rise_limit_celsius gauge
weepd_gland_rise_limit_celsius{gland="p1-de"} 25
`
	n := make(named)
	if err := testutil.CollectAndCompare(strictly{n, newLimits(n, func() *agent.Snapshot { return s })}, strings.NewReader(want)); err != nil {
		t.Error(err)
	}
}
