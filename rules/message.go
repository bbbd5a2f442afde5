package rules

import (
	"fmt"
	"math"
	"strings"

	"weepd/rules/heat"
)

// message says what happened in one sentence, for a mechanic.
func (g *gland) message(t Transition) string {
	if !t.Active {
		return g.clearedMessage(t)
	}
	l := g.cfg.Limits
	switch t.Condition {
	case Burning:
		limit := g.riseLimit(t.At)
		if t.Rise.Known && t.Rise.Value >= limit {
			return fmt.Sprintf("gland %s over its reference, limit %s; %s", degrees(t.Rise.Value), degrees(limit), weepWords(t.Weep))
		}
		why := "no film and heating"
		if !g.alarms[Dry].active {
			why = "new packing heating"
		}
		return fmt.Sprintf("%s: gland %s over its reference and rising %.1f °C a minute, limit %s; %s",
			why, degrees(t.Rise.Value), g.rise.Slope(), degrees(limit), weepWords(t.Weep))
	case Dry:
		return fmt.Sprintf("%s, least that cools and lubricates is %s; shaft turning", weepWords(t.Weep), rate(l.DryDPM))
	case Leaking:
		return fmt.Sprintf("%s, most allowed is %s", weepWords(t.Weep), rate(g.leakLimit()))
	case Gushing:
		if g.stream.merged {
			return "drops have merged into a stream: the counter sees few, far more flows"
		}
		return fmt.Sprintf("%s, over %s: a stream", weepWords(t.Weep), rate(l.GushDPM))
	case AdjustmentIneffective:
		return g.care.found.IneffectiveWhy
	case RepackDue:
		return "the packing will soon be spent: " + strings.Join(g.care.found.RepackWhy, "; ")
	case TempSensor:
		return g.temperatureFault()
	case DripSensor:
		return g.dripFault()
	default:
		return t.Condition.String()
	}
}

func (g *gland) clearedMessage(t Transition) string {
	if g.unfitted {
		return "its sensor is configured no more"
	}
	switch t.Condition {
	case Burning:
		return fmt.Sprintf("gland cooled to %s over its reference", degrees(t.Rise.Value))
	case Dry:
		switch {
		case !g.shaft.turning():
			return "shaft at rest: too little weep does not matter now"
		case g.drip.cold:
			return "taken back: no drops and no heat, so the drop count is not believed"
		case g.withheld():
			return "taken back: the drop count is not believed"
		case g.stream.merged:
			return "taken back: drops have merged into a stream"
		}
		return weepWords(t.Weep) + ", enough again"
	case Leaking:
		if g.alarms[Gushing].active {
			return "worse: it gushes now"
		}
		return weepWords(t.Weep) + ", within its limit again"
	case Gushing:
		return weepWords(t.Weep) + ", no stream any more"
	case AdjustmentIneffective:
		return "no longer so: adjusted with effect, repacked, or the weep is down"
	case RepackDue:
		return "repacked, or the outlook is longer again"
	case TempSensor:
		return "temperature readings are good again"
	case DripSensor:
		return "drop readings are good again"
	default:
		return t.Condition.String()
	}
}

func (g *gland) temperatureFault() string {
	cause, faulty := g.rise.Metal.Faulty()
	which, q := "gland temperature", g.rise.Metal.Quality()
	if !faulty {
		cause, _ = g.rise.Reference.Faulty()
		which, q = "reference temperature", g.rise.Reference.Quality()
	}
	switch cause {
	case heat.Silent:
		return which + ": no readings any more; see the sensor and its wiring"
	case heat.Stuck:
		return which + ": value frozen; see the sensor and its converter"
	case heat.Jumped:
		return which + ": changes faster than metal can; see the sensor's seat and wiring"
	case heat.Reported, heat.NoCause:
	}
	return fmt.Sprintf("%s: sensor reports %s; see the sensor and its wiring", which, q)
}

func (g *gland) dripFault() string {
	switch {
	case g.drip.reported:
		return fmt.Sprintf("drop sensor reports %s; see the sensor and its wiring", g.drip.quality)
	case g.drip.bounces:
		return "every drop counts several times: contact bounce; set a debounce or clean the contact"
	}
	if !g.drip.cold {
		return "few drops and the gland cools though the run signal says turning: run signal wrong, or drop sensor; look at the gland"
	}
	return fmt.Sprintf("no drops and no heat for %.0f minutes with the shaft turning: drop sensor dead or blocked, or seal water shut; look at the gland",
		coldAfter.Minutes())
}

// weepWords says what is known of a weep, no finer than it is known.
func weepWords(w Weep) string {
	if !w.Known {
		return "weep not known"
	}
	return fmt.Sprintf("weep %s (%s to %s)", rate(w.DPM), number(w.LowDPM), number(w.HighDPM))
}

func rate(dpm float64) string { return number(dpm) + " drops/min" }

func number(dpm float64) string {
	if dpm < 9.95 && dpm != math.Trunc(dpm) {
		return fmt.Sprintf("%.1f", dpm)
	}
	return fmt.Sprintf("%.0f", dpm)
}

func degrees(c float64) string { return fmt.Sprintf("%.1f °C", c) }
