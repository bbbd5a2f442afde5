package config

import (
	"fmt"
	"math"
	"time"

	"weepd/rules"
)

// Defaults that do not depend on the gland. Where a default comes from is
// said beside it and printed by `weepd check`.
const (
	DefaultListen  = "127.0.0.1:9733"
	DefaultFibre   = Synthetic
	defaultRiseC   = 25 // common practice, no source
	defaultBudget  = 1  // false alarms a year; a choice of ours
	defaultGushDPM = 200

	// Start values for filtering and deadband as ISA-18.2 users quote them for
	// level: 5 % deadband, delays of up to a minute. From memory, no document
	// seen.
	defaultOffDelay        = time.Minute
	defaultRunIn           = 4 * time.Hour
	defaultOnDelay         = 0 // the detector waits as long as its false-alarm budget asks
	defaultDeadbandPercent = 5

	// Time for the film to form after a start; common practice, no source.
	defaultStartGrace = 2 * time.Minute
)

// WantedDPM is the least weep that a turning shaft's packing of this fibre is
// commonly set to, drops per minute. Common practice of the trade, no source;
// published figures differ from 1 to 60, so limits are the engineer's.
func (f Fibre) WantedDPM() float64 {
	if f == Natural {
		return 15
	}
	return 30
}

const (
	practice   = "common practice, no source"
	fromMemory = "start value from memory, no source seen"
)

// fill gives each setting that the file left out its default. set has the
// keys that the file gave.
func (g *Gland) fill(set placed) {
	g.origins = make(map[string]string)
	fill := func(key string, value *float64, fallback float64, origin string) {
		g.origin(key, set, origin)
		if _, given := set[key]; !given {
			*value = fallback
		}
	}
	wait := func(key string, value *time.Duration, fallback time.Duration, origin string) {
		g.origin(key, set, origin)
		if _, given := set[key]; !given {
			*value = fallback
		}
	}
	g.fillFibre(set)
	for key := range set {
		g.origin(key, set, "") // what has no default is shown where it is given
	}
	if has(set, "stuffing_box") {
		g.origin("stuffing_box.air_bar", set, "the standard atmosphere, ISO 2533")
		g.origin("stuffing_box.nut_flats", set, "hexagon nuts, ISO 4032")
	}
	wanted := g.Fibre.WantedDPM()
	weep := fmt.Sprintf("the wanted weep of %s fibre, %g dpm; %s", g.Fibre, wanted, practice)
	l := &g.Limits
	fill("limits.dry_dpm", &l.DryDPM, wanted/2, "half "+weep)
	fill("limits.leak_dpm", &l.LeakDPM, wanted*2, "twice "+weep)
	fill("limits.gush_dpm", &l.GushDPM, gushDefault(l.LeakDPM), fmt.Sprintf("the larger of %d and twice leak_dpm; %s", defaultGushDPM, practice))
	fill("limits.rise_c", &l.RiseC, defaultRiseC, practice)
	fill("limits.false_alarms_per_year", &l.FalseAlarmsPerYear, defaultBudget, "one a year of each condition, a choice of ours")
	fill("timing.deadband_percent", &g.Timing.DeadbandPercent, defaultDeadbandPercent, fromMemory)
	wait("timing.start_grace", &g.Timing.StartGrace, defaultStartGrace, practice)
	wait("timing.on_delay", &g.Timing.OnDelay, defaultOnDelay, "the detector waits as the false-alarm budget asks")
	wait("timing.off_delay", &g.Timing.OffDelay, defaultOffDelay, fromMemory)
	wait("timing.run_in", &g.Timing.RunIn, defaultRunIn, practice)
	normal, from := normalDefault(wanted, *l)
	if normal == wanted {
		from = weep
	}
	fill("normal_dpm", &g.NormalDPM, normal, from)
}

func (g *Gland) fillFibre(set placed) {
	const key = "packing.fibre"
	switch {
	case has(set, key):
	case g.Packing.Family != "":
		g.Fibre = fibreOf(g.Packing.Family)
		g.origin(key, set, "what packing.family is made of")
	default:
		g.Fibre = DefaultFibre
		g.origin(key, set, "the fibre that wants more weep, a choice of ours")
	}
}

func (g *Gland) origin(key string, set placed, otherwise string) {
	if at, given := set[key]; given {
		g.origins[key] = fmt.Sprintf("line %d", at.line)
		return
	}
	g.origins[key] = "default: " + otherwise
}

func gushDefault(leak float64) float64 { return max(defaultGushDPM, 2*leak) }

// normalDefault is the wanted weep, or the middle of the band that the limits
// leave (on the scale of ratios, as limits are) where it lies outside.
func normalDefault(wanted float64, l rules.Limits) (dpm float64, origin string) {
	if l.DryDPM < wanted && wanted < l.LeakDPM || l.DryDPM >= l.LeakDPM {
		return wanted, ""
	}
	return math.Sqrt(l.DryDPM * l.LeakDPM), "between dry_dpm and leak_dpm, as the wanted weep is outside"
}
