package config

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// Whatever pair of limits dry < leak is set, the defaults of the rest fit.
func TestDefaultsFitAnyGivenLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dry := rapid.Float64Range(0.1, 4000).Draw(t, "dry")
		leak := dry * rapid.Float64Range(1.2, 2.4).Draw(t, "ratio")
		fibre := rapid.SampledFrom([]Fibre{Natural, Synthetic}).Draw(t, "fibre")
		cfg, faults := Parse("x.yaml", fmt.Appendf(nil,
			"station: s\nglands:\n  - id: p\n    packing: {fibre: %s}\n    limits: {dry_dpm: %g, leak_dpm: %g}\n", fibre, dry, leak))
		if faults != nil {
			t.Fatal(faults)
		}
		g := cfg.Glands[0]
		if g.NormalDPM <= dry || g.NormalDPM >= leak || g.Limits.GushDPM <= leak {
			t.Errorf("dry %g, normal %g, leak %g, gush %g", dry, g.NormalDPM, leak, g.Limits.GushDPM)
		}
	})
}

// The wanted weep: 15 dpm for natural fibre, 30 for synthetic (common practice
// of the trade, no source), limits half and twice that.
func TestDefaultsOfTheFibres(t *testing.T) {
	for fibre, want := range map[Fibre][3]float64{Natural: {7.5, 15, 30}, Synthetic: {15, 30, 60}} {
		cfg, faults := Parse("x.yaml", fmt.Appendf(nil, "station: s\nglands:\n  - id: p\n    packing: {fibre: %s}\n", fibre))
		if faults != nil {
			t.Fatal(faults)
		}
		g := cfg.Glands[0]
		if got := [3]float64{g.Limits.DryDPM, g.NormalDPM, g.Limits.LeakDPM}; got != want {
			t.Errorf("%s: dry, normal, leak %v, want %v", fibre, got, want)
		}
		if g.Limits.GushDPM != 200 || g.Limits.RiseC != 25 || g.Limits.FalseAlarmsPerYear != 1 {
			t.Errorf("%s: limits %+v", fibre, g.Limits)
		}
	}
}
