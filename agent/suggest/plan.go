package suggest

import (
	"math"
	"slices"
	"strconv"

	"weepd/rules"
)

// Limit is a limit that is tried, by its key.
type Limit string

// The limits.
const (
	Dry  Limit = "dry_dpm"
	Leak Limit = "leak_dpm"
	Rise Limit = "rise_c"
)

// Limits lists them.
func Limits() []Limit { return []Limit{Dry, Leak, Rise} }

// condition is what a limit raises.
func (l Limit) condition() rules.Condition {
	switch l {
	case Dry:
		return rules.Dry
	case Leak:
		return rules.Leaking
	default:
		return rules.Burning
	}
}

func (l Limit) of(g rules.Limits) float64 {
	switch l {
	case Dry:
		return g.DryDPM
	case Leak:
		return g.LeakDPM
	default:
		return g.RiseC
	}
}

func (l Limit) set(g *rules.Limits, v float64) {
	switch l {
	case Dry:
		g.DryDPM = v
	case Leak:
		g.LeakDPM = v
	default:
		g.RiseC = v
	}
}

// Options say what is tried.
type Options struct {
	Limits       []Limit
	Glands       []string  // ids to report on; none = all
	Factors      []float64 // of the limit in force; 1 is always among them
	Budgets      []float64 // of the false-alarm budget in force; 1 is always among them
	MostPerMonth float64   // alarms a month of a condition that a proposal may bring
	// MostDryDPM is the least weep that common practice asks for, by gland: a
	// higher dry limit is not proposed.
	MostDryDPM map[string]float64
}

func (o Options) wants(gland string) bool {
	return len(o.Glands) == 0 || slices.Contains(o.Glands, gland)
}

// variant is what one station of the replay has instead of what is in force; one
// limit at a time, as they meet in what the detector learns.
type variant struct {
	limit          Limit
	factor, budget float64
}

// plan lists the variants; the first is what is in force.
func (o Options) plan() []variant {
	list := []variant{{factor: 1, budget: 1}}
	for _, l := range o.Limits {
		for _, f := range o.Factors {
			for _, b := range o.Budgets {
				inForce := f == 1 && b == 1
				if !inForce && (l != Rise || b == 1) { // the budget is of the weep only
					list = append(list, variant{l, f, b})
				}
			}
		}
	}
	return list
}

// apply gives a gland's limits with a variant; not ok where they do not fit each
// other.
func (v variant) apply(g rules.Limits) (out rules.Limits, ok bool) {
	if v.limit == "" {
		return g, true
	}
	out = g
	v.limit.set(&out, tried(v.limit.of(g), v.factor))
	out.FalseAlarmsPerYear = tried(g.FalseAlarmsPerYear, v.budget)
	if out.DryDPM < out.LeakDPM && out.LeakDPM < out.GushDPM {
		return out, true
	}
	return g, false
}

// tried is a multiple with three digits, as a person would write it.
func tried(v, factor float64) float64 {
	if factor == 1 {
		return v
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v*factor, 'g', 3, 64), 64)
	if err != nil || rounded <= 0 || math.IsInf(rounded, 0) {
		return v * factor
	}
	return rounded
}

// configs gives the stations to replay.
func configs(glands []rules.GlandConfig, plan []variant) []rules.Config {
	out := make([]rules.Config, len(plan))
	for i, v := range plan {
		for _, g := range glands {
			g.Limits, _ = v.apply(g.Limits)
			out[i].Glands = append(out[i].Glands, g)
		}
	}
	return out
}
